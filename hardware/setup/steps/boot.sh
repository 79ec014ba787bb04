# shellcheck shell=bash
# Settings of the Raspberry Pi's start-up, in one marked block of config.txt, and the kernel's command line.
#
# Sources: Raspberry Pi documentation, "config.txt" (filters such as [all] and [pi5]; camera_auto_detect) and
# "Configure UARTs"; the overlays' own README for gpio-shutdown (a button from GPIO3 to ground also wakes a Pi that was
# switched off). That a Pi 5 wants uart0=on is from memory.

BLOCK_BEGIN="# boatrun: begin (made by boatrun-setup; changes in here are overwritten)"
BLOCK_END="# boatrun: end"

boot_folder() {
  local folder
  for folder in /boot/firmware /boot; do
    if [ -f "$ROOT$folder/config.txt" ]; then printf '%s' "$folder"; return 0; fi
  done
}

config_block() {
  printf '%s\n' "$BLOCK_BEGIN" "[all]" "dtparam=watchdog=on"
  if [ "$PI_CAMERA" = yes ]; then echo "camera_auto_detect=1"; fi
  if [ "$SHUTDOWN_BUTTON" != no ]; then
    echo "dtoverlay=gpio-shutdown,gpio_pin=$SHUTDOWN_BUTTON,active_low=1,gpio_pull=up"
  fi
  if [ "$HEADER_SERIAL" = yes ]; then printf '%s\n' "enable_uart=1" "[pi5]" "dtparam=uart0=on" "[all]"; fi
  printf '%s\n' "$BLOCK_END"
}

without_block() { # FILE: its text without our block
  awk -v begin="$BLOCK_BEGIN" -v end="$BLOCK_END" '
    { line = $0; sub(/\r$/, "", line) }
    line == begin { inside = 1; next }
    inside { if (line == end) inside = 0; next }
    { print }
    END { if (inside) exit 3 }' "$1" || die "$1: our block begins and does not end; put '$BLOCK_END' behind its last line, or take it out by hand"
}

block_of() { # FILE: our block in it
  awk -v begin="$BLOCK_BEGIN" -v end="$BLOCK_END" '
    { line = $0; sub(/\r$/, "", line) }
    line == begin { inside = 1 }
    inside { print line }
    line == end { inside = 0 }' "$1"
}

new_cmdline() { # FILE: without a console on the serial port of the header, with the country of the Wi-Fi
  local word given words=()
  read -r -a given < <(tr -d '\r\n' <"$1"; echo) # words as they are, no patterns
  for word in "${given[@]}"; do
    case $word in
      console=serial0* | console=ttyAMA0* | console=ttyS0*) continue ;;
      cfg80211.ieee80211_regdom=*) [ -z "$WIFI_COUNTRY" ] || continue ;;
    esac
    words+=("$word")
  done
  if [ -n "$WIFI_COUNTRY" ]; then words+=("cfg80211.ieee80211_regdom=$WIFI_COUNTRY"); fi
  printf '%s\n' "${words[*]}"
}

step_boot() {
  local boot text
  boot=$(boot_folder)
  if [ -z "$boot" ]; then say "  no config.txt: this is no Raspberry Pi; nothing is set"; return 0; fi
  check_button
  if [ "$(block_of "$ROOT$boot/config.txt")" != "$(config_block)" ]; then
    text=$(without_block "$ROOT$boot/config.txt"; echo .) # the full stop keeps empty lines at the end
    edit "$boot/config.txt" <<<"${text%.}$(config_block)"
    RESTART=yes
  fi
  if [ -f "$ROOT$boot/cmdline.txt" ]; then
    [ "$(grep -c . "$ROOT$boot/cmdline.txt")" = 1 ] ||
      die "$boot/cmdline.txt: is not one line; the Pi reads the first only; put all its words into one line"
    text=$(new_cmdline "$ROOT$boot/cmdline.txt")
    [ -n "$text" ] || fail "$boot/cmdline.txt: nothing would be left of it; it is as it was; report this"
    if edit "$boot/cmdline.txt" <<<"$text"; then RESTART=yes; fi
  fi
  if [ "$SHUTDOWN_BUTTON" != no ]; then
    put /etc/systemd/logind.conf.d/50-boatrun.conf 644 <"$SETUP/files/logind.conf" || true
  else
    drop /etc/systemd/logind.conf.d/50-boatrun.conf
  fi
}

check_button() { # a pin that the rig uses must not switch the Pi off
  local rig=$ROOT$DATA/rig.toml
  if [ "$SHUTDOWN_BUTTON" = no ] || [ ! -r "$rig" ]; then return 0; fi
  python3 - "$rig" "$SHUTDOWN_BUTTON" <<'END' || die "--shutdown-button: GPIO$SHUTDOWN_BUTTON is used by $DATA/rig.toml; choose another pin, or change the rig"
import sys, tomllib

with open(sys.argv[1], "rb") as file:
    rig = tomllib.load(file)
pins = set()
for table in rig.values():
    if isinstance(table, dict) and str(table.get("kind", "")).startswith("gpio_"):
        pins |= {value for key, value in table.items() if key == "pin" or key.endswith("_pin")}
        pins |= set(table.get("pins", {}).values())
sys.exit(int(sys.argv[2]) in pins)
END
}
