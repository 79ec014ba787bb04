# shellcheck shell=bash
# Few writes to the card: it lives longer, and less can be torn when the plug is pulled. Recordings are written as before.

# mount(8): options that begin with x- are for whoever wrote them.
TMP_LINE="tmpfs /tmp tmpfs nosuid,nodev,noatime,mode=1777,size=25%,x-boatrun 0 0"
QUIET_TIMERS="apt-daily.timer apt-daily-upgrade.timer man-db.timer"

step_storage() {
  local limits
  case $LOGS in
    memory) limits=$'Storage=volatile\nRuntimeMaxUse=32M' ;;
    disk) limits=$'Storage=persistent\nSystemMaxUse=64M\nSystemKeepFree=256M' ;;
  esac
  if put /etc/systemd/journald.conf.d/50-boatrun.conf 644 <<END
# The system's log is small and goes to: $LOGS.
[Journal]
$limits
END
  then RESTART=yes; fi
  edit_fstab
  quiet_timers
  if [ -z "$ROOT" ] && [ -x /usr/sbin/rsyslogd ]; then
    say "  note: rsyslog writes a second log to the card (sudo apt-get purge rsyslog ends that)"
  fi
}

new_fstab() { # FILE: noatime for the root, /tmp in memory where nothing else puts it there
  awk '
    /^[[:space:]]*#/ || NF < 4 { print; next }
    $2 == "/" && $4 !~ /(^|,)noatime(,|$)/ {
      options = $4
      gsub(/(^|,)(relatime|strictatime)/, "", options); sub(/^,/, "", options)
      options = options == "" ? "noatime" : options ",noatime"
      sub("[[:space:]]" $3 "[[:space:]]+[^[:space:]]+", " " $3 " " options)
    }
    { print }' "$1"
  if awk '!/^[[:space:]]*#/ && $2 == "/tmp" { found = 1 } END { exit found }' "$1" &&
    [ ! -e "$ROOT/usr/lib/systemd/system/tmp.mount" ]; then
    printf '%s\n' "$TMP_LINE"
  fi
}

edit_fstab() {
  local fstab=$ROOT/etc/fstab new
  if [ ! -s "$fstab" ]; then say "  /etc/fstab: is empty or not there; nothing is set"; return 0; fi
  new=$(mktemp)
  new_fstab "$fstab" >"$new"
  # A table that cannot be read keeps the Pi from starting: it is judged before it is put in place.
  if command -v findmnt >/dev/null && [ "$(count_errors "$new")" -gt "$(count_errors "$fstab")" ]; then
    findmnt --verify --tab-file "$new" >&2 || true
    rm -f "$new"
    fail "/etc/fstab: the changed table would have an error that it has not now (above); it was left as it is; report this"
  fi
  if edit /etc/fstab <"$new"; then RESTART=yes; fi
  rm -f "$new"
}

count_errors() { # TABLE
  { findmnt --verify --tab-file "$1" 2>&1 || true; } | grep -c '\[E\]' || true
}

quiet_timers() { # nothing starts by itself in the middle of a run
  local timer
  if [ -n "$ROOT" ]; then return 0; fi
  for timer in $QUIET_TIMERS; do
    if [ "$(systemctl is-enabled "$timer" 2>/dev/null)" = enabled ]; then
      act "switch off $timer (update by hand, between classes)" systemctl disable "$timer"
      if is_live && [ "$DRY" = no ]; then systemctl stop "$timer" || true; fi
      remember "timer $timer"
    fi
  done
}
