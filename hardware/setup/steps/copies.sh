# shellcheck shell=bash
# Backup and restore of rig files and recordings. Checksums are read back from the stick; nothing is ever replaced
# unseen: a file that changed is kept in `older/` of the backup, and restoring leaves alone what is there.
#
#   FOLDER/boatrun-HOSTNAME/data/...      the files, readable by anybody
#   FOLDER/boatrun-HOSTNAME/older/DATE/   what they were before, where a later backup brought another content
#   FOLDER/boatrun-HOSTNAME/SHA256SUMS    checked with: cd FOLDER/boatrun-HOSTNAME && sha256sum -c SHA256SUMS

python_at_hand() {
  if [ -z "$ROOT" ] && [ -x "$HOME_DIR/current/bin/python" ]; then echo "$HOME_DIR/current/bin/python"; else echo python3; fi
}

wanted_files() { # FOLDER: names below it, each ended by a zero byte; a database's own scraps are within its copy
  (cd "$1" && find . -type f ! -name '*.sqlite-wal' ! -name '*.sqlite-shm' ! -name '*.sqlite-journal' -printf '%P\0' | sort -z)
}

check_names() { # FOLDER
  local name
  while IFS= read -r -d '' name; do
    case $name in
      *$'\n'* | *\\*) die "backup: $1/$name: its name holds a line end or a backslash, which sticks cannot keep; rename it" ;;
    esac
  done < <(wanted_files "$1")
}

backup() {
  local data=$ROOT$DATA place work new=0 same=0 changed=0 bytes=0 name sum
  [ -n "$TARGET" ] || die "backup: no folder given; name one on the stick, such as /media/stick (it must be there)"
  [ -d "$TARGET" ] || die "backup: $TARGET: there is no such folder; plug the stick in, mount it, and make the folder"
  TARGET=$(cd "$TARGET" && pwd -P)
  [ -d "$data" ] || die "backup: $data: there is nothing yet to copy"
  case $TARGET/ in "$(cd "$data" && pwd -P)"/*) die "backup: $TARGET lies in $DATA itself; name a folder elsewhere" ;; esac
  if [ "$SAME_DISK" = no ] && [ "$(stat -c %d "$TARGET")" = "$(stat -c %d "$data")" ]; then
    die "backup: $TARGET is on the same disk as the recordings: a dead disk takes both; is the stick mounted? (--same-disk does it all the same)"
  fi
  check_names "$data"
  place=$(tr -dc 'A-Za-z0-9-' <"$ROOT/etc/hostname" 2>/dev/null || true)
  place=$TARGET/boatrun-${place:-pi}
  work=$(mktemp -d)
  databases "$data" "$work"
  plan_backup "$data" "$place" "$work"
  bytes=$(awk -F'\t' '{ total += $2 } END { printf "%.0f", total }' "$work/todo")
  check_room "$bytes"
  if [ "$DRY" = yes ]; then
    say "would copy $(wc -l <"$work/todo") files ($((bytes / 1000000)) MB) to $place"
    rm -rf "$work"
    return 0
  fi
  mkdir -p "$place/data"
  while IFS=$'\t' read -r sum _ name; do
    copy_out "$data" "$place" "$work" "$name" "$sum"
  done <"$work/todo"
  new=$(wc -l <"$work/todo"); same=$(wc -l <"$work/same"); changed=$COPIED_OVER
  write_sums "$place" "$work"
  read_back "$place"
  rm -rf "$work"
  say "backup: $new files copied, $same were there already, $changed older ones kept beside; all $(wc -l <"$place/SHA256SUMS") read back and right: $place"
  log "backup to $place: $new copied, $same there, $changed older kept"
}

databases() { # DATA WORK: a database that may be in use is copied by its own library, whole
  local name
  while IFS= read -r -d '' name; do
    mkdir -p "$2/databases/$(dirname "$name")"
    "$(python_at_hand)" - "$1/$name" "$2/databases/$name" <<'END' || die "backup: $1/$name: cannot be read as a database; move it out of the folder, or mend it"
import sqlite3, sys
from pathlib import Path

source = sqlite3.connect(f"{Path(sys.argv[1]).as_uri()}?mode=ro", uri=True)
target = sqlite3.connect(sys.argv[2])
source.backup(target)
target.close()
END
  done < <(wanted_files "$1" | grep -z '\.sqlite$' || true)
}

plan_backup() { # DATA PLACE WORK: sums of all; todo: sum, bytes, name of what is to be copied
  local name file
  : >"$3/todo"; : >"$3/same"; : >"$3/sums"
  while IFS= read -r -d '' name; do
    file=$1/$name
    if [ -f "$3/databases/$name" ]; then file=$3/databases/$name; fi
    local sum; sum=$(sum_of "$file") || fail "backup: $file: cannot be read"
    printf '%s  data/%s\n' "$sum" "$name" >>"$3/sums"
    if [ -f "$2/data/$name" ] && grep -qxF -- "$sum  data/$name" "$2/SHA256SUMS" 2>/dev/null; then
      printf '%s\n' "$name" >>"$3/same"
    else
      printf '%s\t%s\t%s\n' "$sum" "$(stat -c %s "$file")" "$name" >>"$3/todo"
    fi
  done < <(wanted_files "$1")
}

check_room() { # BYTES
  local free
  free=$(df --output=avail -B1 "$TARGET" | tail -n 1)
  [ "$1" -lt $((free - 8000000)) ] ||
    die "backup: $((free / 1000000)) MB are free at $TARGET; $(($1 / 1000000 + 8)) MB are wanted; use a larger stick, or make room"
}

COPIED_OVER=0
copy_out() { # DATA PLACE WORK NAME SUM
  local from=$1/$4 to=$2/data/$4
  if [ -f "$3/databases/$4" ]; then from=$3/databases/$4; fi
  mkdir -p "$(dirname "$to")"
  cp --preserve=timestamps "$from" "$to.boatrun-new" ||
    fail "backup: $4: could not be written to the stick (above); is it full, write-protected, or its name not allowed there?"
  if [ "$(sum_of "$to.boatrun-new")" != "$5" ]; then
    rm -f "$to.boatrun-new"
    fail "backup: $4: changed while it was copied; end the run, then do the backup again"
  fi
  if [ -e "$to" ] && ! cmp -s "$to" "$to.boatrun-new"; then
    local older; older=$2/older/$STAMP/$4
    mkdir -p "$(dirname "$older")"
    mv -n "$to" "$older"
    COPIED_OVER=$((COPIED_OVER + 1))
  fi
  mv -f "$to.boatrun-new" "$to"
}
STAMP=$(date +%Y%m%d-%H%M%S)

write_sums() { # PLACE WORK: of what is here now, and of what only the backup still has
  local line name
  cp "$2/sums" "$2/all"
  if [ -f "$1/SHA256SUMS" ]; then
    while IFS= read -r line; do
      name=${line#*  }
      if [ -f "$1/$name" ] && ! grep -qF -- "  $name" <(cut -c65- "$2/sums" | grep -xF -- "  $name"); then
        printf '%s\n' "$line" >>"$2/all"
      fi
    done <"$1/SHA256SUMS"
  fi
  if [ -d "$1/older/$STAMP" ]; then (cd "$1" && find "older/$STAMP" -type f -print0 | xargs -0 sha256sum) >>"$2/all"; fi
  sort -k2 "$2/all" >"$1/SHA256SUMS.boatrun-new"
  sync "$1/SHA256SUMS.boatrun-new"
  mv -f "$1/SHA256SUMS.boatrun-new" "$1/SHA256SUMS"
}

read_back() { # PLACE: from the stick itself, not from what the kernel remembers of it
  local file bad
  sync -f "$1"
  while IFS= read -r -d '' file; do
    dd if="$file" iflag=nocache count=0 status=none 2>/dev/null || true
  done < <(find "$1" -type f -print0)
  if ! bad=$(cd "$1" && sha256sum --check --strict --quiet SHA256SUMS 2>&1); then
    printf '%s\n' "$bad" | head -n 20 >&2
    fail "backup: $1: what stands above does not read back as it was written; do not trust this stick; use another"
  fi
}

find_backup() { # PLACE: the one backup at or below TARGET
  local found=()
  [ -n "$TARGET" ] || die "restore: no folder given; name the backup, such as /media/stick/boatrun-pi"
  [ -d "$TARGET" ] || die "restore: $TARGET: there is no such folder; plug the stick in and mount it"
  if [ -f "$TARGET/SHA256SUMS" ]; then PLACE=$(cd "$TARGET" && pwd -P); return 0; fi
  for PLACE in "$TARGET"/boatrun-*/; do
    if [ -f "${PLACE}SHA256SUMS" ]; then found+=("${PLACE%/}"); fi
  done
  [ ${#found[@]} != 0 ] || die "restore: $TARGET: there is no backup in it (no SHA256SUMS); name the folder boatrun-HOSTNAME"
  [ ${#found[@]} = 1 ] || die "restore: $TARGET: found ${#found[@]} backups (${found[*]}); name one"
  PLACE=$(cd "${found[0]}" && pwd -P)
}

restore() {
  local line sum name bad missing=0 same=0 differing=0
  find_backup
  if ! bad=$(cd "$PLACE" && sha256sum --check --strict --quiet SHA256SUMS 2>&1); then
    printf '%s\n' "$bad" | head -n 20 >&2
    die "restore: $PLACE: what stands above is damaged or missing in the backup; nothing was restored; take another backup, or remove its lines from SHA256SUMS to do without it"
  fi
  while IFS= read -r line; do
    sum=${line:0:64} name=${line:66}
    case $name in
      data/*) ;;
      *) continue ;;
    esac
    name=${name#data/}
    case /$name/ in */../* | *//*) die "restore: $PLACE: SHA256SUMS names '$name', which leads out of the folder; this is no backup of ours" ;; esac
    if [ -L "$PLACE/data/$name" ]; then die "restore: $PLACE: data/$name is a link; a backup of ours holds none"; fi
    if [ -e "$ROOT$DATA/$name" ] || [ -L "$ROOT$DATA/$name" ]; then
      if [ -f "$ROOT$DATA/$name" ] && [ "$(sum_of "$ROOT$DATA/$name")" = "$sum" ]; then same=$((same + 1)); continue; fi
      differing=$((differing + 1))
      differs "$name" "$sum"
      continue
    fi
    missing=$((missing + 1))
    bring_back "$name" "$name" "$sum"
  done <"$PLACE/SHA256SUMS"
  say "restore: $missing files brought back, $same were here already, $differing are here with another content"
  if [ "$differing" != 0 ] && [ "$BESIDE" = no ]; then
    say "What is here was left as it is. To look at both: boatrun-setup restore $TARGET --beside"
    log "restore: $differing files differ and were left"
    exit 2
  fi
}

differs() { # NAME SUM
  if [ "$BESIDE" = no ]; then say "  here with another content: $1"; return 0; fi
  local beside=$1.from-backup
  if [ -e "$ROOT$DATA/$beside" ]; then
    [ "$(sum_of "$ROOT$DATA/$beside")" = "$2" ] || say "  $beside: is there already with a third content; left as it is; move it away"
    return 0
  fi
  bring_back "$1" "$beside" "$2"
}

bring_back() { # NAME AS SUM
  local to=$ROOT$DATA/$2
  if [ "$DRY" = yes ]; then changed "would bring back $2"; return 0; fi
  # shellcheck disable=SC2016 # it is expanded by the inner shell
  as_ours sh -euc '
    umask 007
    mkdir -p "$(dirname "$1")"
    cat >"$1.boatrun-new"
    touch -d "$2" "$1.boatrun-new"
    if [ "$(sha256sum <"$1.boatrun-new" | cut -d" " -f1)" != "$3" ]; then rm -f "$1.boatrun-new"; exit 9; fi
    sync "$1.boatrun-new"
    mv -nT "$1.boatrun-new" "$1"' restore "$to" "@$(stat -c %Y "$PLACE/data/$1")" "$3" <"$PLACE/data/$1" ||
    fail "restore: $1: could not be brought back as it is in the backup (above); is the card full? try again, or another stick"
  changed "brought back $2"
}

as_ours() { # COMMAND...: as the account that owns the folder, so that a link laid there leads to nothing of root's
  if may_own; then runuser -u boatrun -- "$@"; else "$@"; fi
}
