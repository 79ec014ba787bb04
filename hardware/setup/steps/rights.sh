# shellcheck shell=bash
# Who may do what: an account of its own for services, groups for devices, a data folder for both. Nothing runs as root.

DEVICE_GROUPS="video gpio dialout"

step_rights() {
  if [ -n "$ROOT" ]; then
    say "  accounts are not made below another root"
  else
    make_accounts
  fi
  folder "$DATA" 2770 boatrun:boatrun
  folder "$DATA/recordings" 2770 boatrun:boatrun
  share_folder "$DATA"
  share_folder "$DATA/recordings"
  if put /etc/udev/rules.d/60-boatrun.rules 644 <"$SETUP/files/60-boatrun.rules" && is_live && [ "$DRY" = no ]; then
    act "tell udev of its new rules" sh -c "udevadm control --reload && udevadm trigger --subsystem-match=gpio --subsystem-match=tty"
  fi
  put /etc/modules-load.d/boatrun.conf 644 <"$SETUP/files/modules.conf" || true
}

make_accounts() {
  local group
  getent group gpio >/dev/null || act "make the group gpio" groupadd --system gpio
  if ! getent passwd boatrun >/dev/null; then
    act "make the account boatrun, for services only" useradd --system --user-group --no-create-home \
      --home-dir "$DATA" --shell /usr/sbin/nologin --comment "boatrun services" boatrun
    remember "account boatrun"
  fi
  for group in $DEVICE_GROUPS; do join boatrun "$group"; done
  if [ -n "$USER_NAME" ] && [ "$USER_NAME" != root ]; then
    for group in $DEVICE_GROUPS boatrun; do join "$USER_NAME" "$group"; done
  fi
}

join() { # USER GROUP
  case " $(id -nG "$1" 2>/dev/null || true) " in *" $2 "*) return 0 ;; esac
  act "put $1 into the group $2" usermod -aG "$2" "$1"
  remember "member $1 $2"
  if [ "$1" != boatrun ]; then say "    (counts for $1 from the next log-in on)"; fi
}

share_folder() { # PATH: whatever is made in it is writable for the group, whoever makes it, and hidden from all others
  if [ -n "$ROOT" ] || [ "$DRY" = yes ] && [ ! -d "$1" ]; then return 0; fi
  command -v getfacl >/dev/null || return 0
  if getfacl -cp "$1" 2>/dev/null | grep -qx 'default:group::rwx'; then return 0; fi
  act "let new files in $1 belong to the group" setfacl -d -m u::rwx,g::rwx,o::--- "$1"
}
