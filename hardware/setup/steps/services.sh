# shellcheck shell=bash
# Services: the rig is checked half a minute after every start; the computer restarts itself if it hangs.

UNITS="boatrun-check.service boatrun-check.timer"
ENABLED="boatrun-check.timer"

step_services() {
  local unit news=no
  for unit in $UNITS; do
    if put "/etc/systemd/system/$unit" 644 <"$SETUP/files/$unit"; then news=yes; fi
  done
  put /etc/tmpfiles.d/boatrun.conf 644 <"$SETUP/files/tmpfiles.conf" || true
  put /etc/profile.d/boatrun.sh 644 <"$SETUP/files/profile.sh" || true
  if put /etc/systemd/system.conf.d/50-boatrun-watchdog.conf 644 <"$SETUP/files/watchdog.conf"; then RESTART=yes; fi
  if is_live && [ "$news" = yes ] && [ "$DRY" = no ]; then
    act "tell systemd of the new units" systemctl daemon-reload
    systemd-tmpfiles --create /etc/tmpfiles.d/boatrun.conf || true
  fi
  for unit in $ENABLED; do
    if [ -L "$ROOT/etc/systemd/system/timers.target.wants/$unit" ]; then continue; fi
    if [ -n "$ROOT" ]; then say "  not switched on below another root: $unit"; continue; fi
    act "switch on $unit" systemctl enable "$unit"
    remember "unit $unit"
  done
}
