# shellcheck shell=bash
# The ground all steps stand on: saying, logging, and the few ways in which anything is changed.
#
# Every change goes through `put`, `edit`, `folder`, `link` or `act`. So --dry-run changes nothing, what is as it should
# be is left alone, every change is logged, and `uninstall` knows what to take back.

ROOT='' DRY=no CHANGES=0 RESTART=no
DATA=/var/lib/boatrun
STATE=/var/lib/boatrun-setup
LOG=/var/log/boatrun-setup.log
MOST_LOG_BYTES=1000000

say() { printf '%s\n' "$*"; }
die() { printf 'boatrun-setup: %s\n' "$*" >&2; exit 2; }
fail() { log "failed: $*"; printf 'boatrun-setup: %s\n' "$*" >&2; exit 1; }

log() { # WORDS: never a password
  if [ "$DRY" = yes ] || [ ! -d "$ROOT${LOG%/*}" ] || [ ! -w "$ROOT${LOG%/*}" ]; then return 0; fi
  printf '%s %s\n' "$(date +%Y-%m-%dT%H:%M:%S%z)" "$*" >>"$ROOT$LOG"
}

need_root() {
  if [ "$DRY" = yes ] || [ -n "$ROOT" ] || [ "$(id -u)" = 0 ]; then return 0; fi
  die "$COMMAND: not run as the administrator; it changes the system; put sudo before it, or look first with --dry-run"
}

only_one() { # two at once would undo each other's work
  if [ "$DRY" = yes ] || [ -n "$ROOT" ]; then return 0; fi
  exec 9>/run/boatrun-setup.lock
  flock -n 9 || die "another boatrun-setup is at work; wait until it has ended"
}

begin() {
  if [ "$DRY" = yes ]; then say "Nothing will be changed; this is what would be done:"; return 0; fi
  mkdir -p "$ROOT$STATE/before" "$ROOT${LOG%/*}"
  chmod 700 "$ROOT$STATE"
  touch "$ROOT$STATE/files" "$ROOT$STATE/acts"
  if [ -f "$ROOT$LOG" ] && [ "$(stat -c %s "$ROOT$LOG")" -gt "$MOST_LOG_BYTES" ]; then mv "$ROOT$LOG" "$ROOT$LOG.1"; fi
  log "begin: $COMMAND"
}

end() {
  local words="$CHANGES changes"
  [ "$CHANGES" != 0 ] || words="nothing to change"
  [ "$CHANGES" != 1 ] || words="1 change"
  if [ "$DRY" = yes ]; then say "$words (dry run: nothing was done)"; return 0; fi
  if [ -z "$ROOT" ] && [ "$CHANGES" != 0 ]; then sync; fi
  log "end: $words"
  say "$words; kept in $LOG"
  if [ "$RESTART" = yes ]; then say "Restart now, so that all of it takes effect: sudo reboot"; fi
}

changed() { # WORDS
  CHANGES=$((CHANGES + 1))
  say "  $*"
  log "$*"
}

is_live() { # systemd runs here, and this is not another root
  [ -z "$ROOT" ] && [ -d /run/systemd/system ]
}

may_own() { [ -z "$ROOT" ] && [ "$(id -u)" = 0 ]; }

remember() { # LINE: what uninstall is to take back
  if [ "$DRY" = yes ]; then return 0; fi
  grep -qxF -- "$1" "$ROOT$STATE/acts" || printf '%s\n' "$1" >>"$ROOT$STATE/acts"
}

act() { # WORDS COMMAND...: a change that a program makes
  local words=$1; shift
  if [ -n "$ROOT" ]; then say "  not done below another root: $words"; return 0; fi
  if [ "$DRY" = yes ]; then changed "would $words"; return 0; fi
  changed "$words"
  local said; said=$(mktemp)
  if "$@" >"$said" 2>&1 </dev/null; then
    sed 's/^/    /' "$said" >>"$LOG"; rm -f "$said"
  else
    local status=$?
    sed 's/^/    /' "$said" >>"$LOG"
    tail -n 15 "$said" >&2; rm -f "$said"
    fail "$words: '$*' ended with status $status; what it said stands above and in $LOG; put that right and run this again"
  fi
}

# --- files ---

sum_of() { sha256sum <"$1" | cut -d' ' -f1; }

left_sum() { # KIND PATH: the sum of the file as we left it; empty if it is not ours
  [ -f "$ROOT$STATE/files" ] || return 0
  awk -F'\t' -v kind="$1" -v path="$2" '$1 == kind && $3 == path { sum = $2 } END { print sum }' "$ROOT$STATE/files"
}

note_file() { # KIND PATH
  local rest; rest=$(mktemp)
  awk -F'\t' -v path="$2" '$3 != path' "$ROOT$STATE/files" >"$rest"
  printf '%s\t%s\t%s\n' "$1" "$(sum_of "$ROOT$2")" "$2" >>"$rest"
  cat "$rest" >"$ROOT$STATE/files"; rm -f "$rest"
}

keep_before() { # PATH: the file as it was before we touched it for the first time
  local kept=$ROOT$STATE/before$1
  [ ! -e "$kept" ] || return 0
  { mkdir -p "${kept%/*}" && cp -p "$ROOT$1" "$kept.part" && mv "$kept.part" "$kept"; } ||
    fail "$1: could not be kept as it was in $STATE; it is left alone; is the card full?"
}

make_parents() { # PATH: folders that were not there are taken away again by uninstall
  local parent=${1%/*}
  if [ -z "$parent" ] || [ -d "$ROOT$parent" ]; then return 0; fi
  make_parents "$parent"
  remember "folder $parent"
}

replace() { # PATH NEW [MODE]: whole or not at all, also when the plug is pulled
  # Errors are met one by one: within `if put ...` the shell does not stop by itself.
  local to=$ROOT$1 mode=644
  if [ -n "${3:-}" ]; then mode=$3; elif [ -e "$to" ]; then mode=$(stat -c %a "$to"); fi
  make_parents "$1"
  { mkdir -p "${to%/*}" && install -m "$mode" "$2" "$to.boatrun-new" &&
    { [ -z "${SYNC:-}" ] || sync "$to.boatrun-new"; } && mv -f "$to.boatrun-new" "$to"; } ||
    { rm -f "$to.boatrun-new"; fail "$1: could not be written (above); it is as it was; is the card full or write-protected?"; }
}

put() { # PATH MODE: a file that is wholly ours; its content comes by standard input
  local path=$1 mode=$2 new ours
  new=$(mktemp)
  cat >"$new" || fail "$path: its new text could not be prepared; it is as it was; is /tmp full?"
  if [ -e "$ROOT$path" ] && cmp -s "$new" "$ROOT$path" && [ "$(stat -c %a "$ROOT$path")" = "$mode" ]; then
    rm -f "$new"
    return 1
  fi
  ours=$(left_sum made "$path")
  if [ -n "$ours" ] && [ -e "$ROOT$path" ] && [ "$(sum_of "$ROOT$path")" != "$ours" ]; then
    say "  $path: somebody has changed it since; left as it is (remove it and run this again to have ours)"
    rm -f "$new"
    return 1
  fi
  if [ "$DRY" = yes ]; then changed "would write $path"; rm -f "$new"; return 0; fi
  if [ -z "$ours" ] && [ -e "$ROOT$path" ]; then keep_before "$path"; fi
  replace "$path" "$new" "$mode"; rm -f "$new"
  note_file made "$path"
  changed "wrote $path"
}

edit() { # PATH: a file of the system's; its new content comes by standard input
  local path=$1 new
  new=$(mktemp)
  cat >"$new" || fail "$path: its new text could not be prepared; it is as it was; is /tmp full?"
  if cmp -s "$new" "$ROOT$path"; then rm -f "$new"; return 1; fi
  if [ "$DRY" = yes ]; then
    changed "would change $path:"
    { diff "$ROOT$path" "$new" || true; } | grep '^[<>]' | sed 's/^</    -/; s/^>/    +/'
    rm -f "$new"
    return 0
  fi
  local ours; ours=$(left_sum edited "$path")
  if [ -n "$ours" ] && [ "$(sum_of "$ROOT$path")" != "$ours" ]; then
    # Somebody has changed it since: what uninstalling brings back is theirs without our part.
    without_ours "$path" >"$new.theirs" && cp "$new.theirs" "$ROOT$STATE/before$path" && rm -f "$new.theirs"
  fi
  keep_before "$path"
  SYNC=yes replace "$path" "$new"; rm -f "$new" # the Pi starts from some of these
  note_file edited "$path"
  changed "changed $path (as it was before: $STATE/before$path)"
}

folder() { # PATH MODE OWNER:GROUP
  local path=$1 mode=$2 owner=$3
  if [ -d "$ROOT$path" ] && [ "$(stat -c %a "$ROOT$path")" = "$mode" ]; then
    if ! may_own || [ "$(stat -c %U:%G "$ROOT$path")" = "$owner" ]; then return 0; fi
  fi
  if [ "$DRY" = yes ]; then changed "would make the folder $path"; return 0; fi
  mkdir -p "$ROOT$path"
  if may_own; then chown "$owner" "$ROOT$path"; fi
  chmod "$mode" "$ROOT$path"
  changed "made the folder $path ($owner, $mode)"
}

link() { # PATH TARGET
  if [ "$(readlink "$ROOT$1" 2>/dev/null)" = "$2" ]; then return 0; fi
  if [ -e "$ROOT$1" ] && [ ! -L "$ROOT$1" ]; then die "$1: is there and is no link; a link to $2 is wanted; move it away"; fi
  if [ "$DRY" = yes ]; then changed "would link $1 to $2"; return 0; fi
  make_parents "$1"
  mkdir -p "$(dirname "$ROOT$1")"
  ln -sfn "$2" "$ROOT$1.boatrun-new"
  mv -fT "$ROOT$1.boatrun-new" "$ROOT$1"
  changed "linked $1 to $2"
}
