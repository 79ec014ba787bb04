# shellcheck shell=bash
# Services: the rig is checked half a minute after every start, its pages are served, and the computer restarts itself if
# it hangs.

UNITS="boatrun-check.service boatrun-check.timer boatrun-serve.service"
ENABLED="boatrun-check.timer boatrun-serve.service"
SERVE_NETWORK=/etc/systemd/system/boatrun-serve.service.d/network.conf

step_services() {
  local unit news=no
  for unit in $UNITS; do
    if put "/etc/systemd/system/$unit" 644 <"$SETUP/files/$unit"; then news=yes; fi
  done
  if [ "$ACCESS_POINT" != no ]; then
    if put "$SERVE_NETWORK" 644 <"$SETUP/files/boatrun-serve-network.conf"; then news=yes; fi
  elif [ -n "$(left_sum made "$SERVE_NETWORK")" ]; then
    drop "$SERVE_NETWORK"; news=yes
  fi
  put /etc/tmpfiles.d/boatrun.conf 644 <"$SETUP/files/tmpfiles.conf" || true
  put /etc/profile.d/boatrun.sh 644 <"$SETUP/files/profile.sh" || true
  if put /etc/systemd/system.conf.d/50-boatrun-watchdog.conf 644 <"$SETUP/files/watchdog.conf"; then RESTART=yes; fi
  if is_live && [ "$news" = yes ] && [ "$DRY" = no ]; then
    act "tell systemd of the new units" systemctl daemon-reload
    systemd-tmpfiles --create /etc/tmpfiles.d/boatrun.conf || true
    pages_anew
  fi
  for unit in $ENABLED; do
    if [ -L "$ROOT/etc/systemd/system/timers.target.wants/$unit" ] ||
      [ -L "$ROOT/etc/systemd/system/multi-user.target.wants/$unit" ]; then continue; fi
    if [ -n "$ROOT" ]; then say "  not switched on below another root: $unit"; continue; fi
    act "switch on $unit" systemctl enable "$unit"
    remember "unit $unit"
  done
}

pages_anew() { # where they are served: by the version that is at work now
  if ! is_live || [ "$DRY" = yes ]; then return 0; fi
  if systemctl --quiet is-active boatrun-serve.service; then
    act "start the pages anew" systemctl restart --no-block boatrun-serve.service
  fi
}
