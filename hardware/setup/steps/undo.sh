# shellcheck shell=bash
# Taking back. Recordings and rig files always stay. What somebody else has changed since is set aside, not deleted.

drop() { # PATH: a file that was wholly ours
  local path=$1 ours
  ours=$(left_sum made "$path")
  if [ -z "$ours" ] || [ ! -e "$ROOT$path" ]; then return 0; fi
  if [ "$DRY" = yes ]; then changed "would take away $path"; return 0; fi
  if [ "$(sum_of "$ROOT$path")" != "$ours" ]; then
    mv -f "$ROOT$path" "$ROOT$path.saved"
    changed "$path: somebody has changed it since; set aside as $path.saved"
  else
    rm -f "$ROOT$path"
    changed "took away $path"
  fi
  if [ -e "$ROOT$STATE/before$path" ]; then
    cp -p "$ROOT$STATE/before$path" "$ROOT$path"
    say "    the file from before is back"
  fi
  forget_file "$path"
}

forget_file() { # PATH
  local rest; rest=$(mktemp)
  awk -F'\t' -v path="$1" '$3 != path' "$ROOT$STATE/files" >"$rest"
  cat "$rest" >"$ROOT$STATE/files"; rm -f "$rest"
}

without_ours() { # PATH: the text of a file of the system's without our part, as far as that can be told
  local file=$ROOT$1 word given words=() before=$ROOT$STATE/before$1
  case $1 in
    */config.txt) without_block "$file" ;;
    /etc/fstab) grep -v 'x-boatrun' "$file" || true ;;
    */cmdline.txt)
      read -r -a given < <({ grep -o 'console=[^ ]*' "$before" || true; cat "$file"; } | tr '\r\n' '  '; echo)
      for word in "${given[@]}"; do
        case $word in cfg80211.ieee80211_regdom=*) grep -qF -- "$word" "$before" || continue ;; esac
        case " ${words[*]} " in *" $word "*) continue ;; esac
        words+=("$word")
      done
      printf '%s\n' "${words[*]}" ;;
    *) cat "$file" ;;
  esac
}

unedit() { # PATH: a file of the system's
  local path=$1 new
  [ -e "$ROOT$path" ] || return 0
  if [ "$(sum_of "$ROOT$path")" = "$(left_sum edited "$path")" ]; then
    if [ "$DRY" = yes ]; then changed "would put back $path as it was"; return 0; fi
    replace "$path" "$ROOT$STATE/before$path"
    changed "put back $path as it was"
    return 0
  fi
  # Somebody has changed it since: only our own part goes.
  new=$(mktemp)
  without_ours "$path" >"$new"
  if cmp -s "$new" "$ROOT$path"; then
    say "  $path: somebody has changed it since; as it was before boatrun it stands in $STATE/before$path"
  elif [ "$DRY" = yes ]; then
    changed "would take our part out of $path"
  else
    replace "$path" "$new"
    changed "took our part out of $path (somebody has changed it since; the rest was left)"
  fi
  rm -f "$new"
}

uninstall() {
  local kind path words what
  undo_acts
  while IFS=$'\t' read -r kind _ path; do
    case $kind in made) drop "$path" ;; edited) unedit "$path" ;; esac
  done < <(tac "$ROOT$STATE/files")
  for path in /usr/local/bin/boatrun /usr/local/sbin/boatrun-setup; do
    case $(readlink "$ROOT$path" 2>/dev/null) in
      "$HOME_DIR"/*) if [ "$DRY" = yes ]; then changed "would take away $path"; else rm -f "$ROOT$path"; changed "took away $path"; fi ;;
    esac
  done
  if [ -d "$ROOT$HOME_DIR" ]; then
    if [ "$DRY" = yes ]; then changed "would take away $HOME_DIR"; else rm -rf "$ROOT/${HOME_DIR:?}"; changed "took away $HOME_DIR"; fi
  fi
  if [ "$DRY" = no ]; then
    sed -n 's/^folder //p' "$ROOT$STATE/acts" | tac | while read -r path; do
      rmdir "$ROOT$path" 2>/dev/null || true # it stays where somebody else has put something into it
    done
  fi
  if is_live && [ "$DRY" = no ]; then systemctl daemon-reload || true; udevadm control --reload || true; fi
  RESTART=yes
  words=$(sed -n 's/^package //p' "$ROOT$STATE/acts" 2>/dev/null | paste -sd' ')
  end
  if [ "$DRY" = no ]; then
    what=$ROOT$STATE.before-uninstall
    rm -rf "$what"; mv "$ROOT$STATE" "$what"
  fi
  say "Left: recordings and rig files in $DATA, the account boatrun that owns them, the log $LOG,"
  say "and files as they were before in $STATE.before-uninstall."
  if [ -n "$words" ]; then say "Packages that were installed for boatrun (others may use them by now): $words"; fi
}

undo_acts() {
  local what first second
  while read -r what first second; do
    case $what in
      unit) act "switch off $first" systemctl disable "$first"
        if is_live && [ "$DRY" = no ]; then systemctl stop "$first" "${first%.*}.service" || true; fi ;;
      timer) act "switch on $first, as it was" systemctl enable "$first" ;;
      member) if [ "$first" != boatrun ] && id -nG "$first" 2>/dev/null | grep -qw "$second"; then
        act "take $first out of the group $second" gpasswd -d "$first" "$second"; fi ;;
    esac
  done < <(tac "$ROOT$STATE/acts")
}
