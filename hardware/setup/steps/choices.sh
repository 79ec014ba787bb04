# shellcheck shell=bash
# What the technician chose: options of the command line, what was chosen before, and, at a terminal, a few questions.

CHOICES=/etc/boatrun/setup.conf
KEYS="user pi_camera header_serial shutdown_button access_point wifi_country logs without"

FROM='' WHEELS='' PASSWORD_FILE='' TARGET='' YES=no HELP=no SAME_DISK=no BESIDE=no
declare -A GIVEN=()

read_options() {
  while [ $# -gt 0 ]; do
    case $1 in
      --dry-run) DRY=yes ;;
      --yes) YES=yes ;;
      --same-disk) SAME_DISK=yes ;;
      --beside) BESIDE=yes ;;
      -h | --help) HELP=yes ;;
      --root | --from | --wheels | --password-file | --user | --pi-camera | --header-serial | --shutdown-button | \
        --access-point | --wifi-country | --logs | --without)
        [ $# -gt 1 ] || die "$1: nothing follows it; see boatrun-setup --help"
        take_option "$1" "$2"; shift ;;
      -*) die "there is no option '$1'; see boatrun-setup --help" ;;
      *)
        case $COMMAND in backup | restore) ;; *) die "$COMMAND: takes no '$1'; see boatrun-setup --help" ;; esac
        [ -z "$TARGET" ] || die "$COMMAND: found two folders, '$TARGET' and '$1'; one is wanted"
        TARGET=$1 ;;
    esac
    shift
  done
  if [ -n "$ROOT" ]; then
    [ -d "$ROOT" ] || die "--root: $ROOT: there is no such folder"
    ROOT=$(cd "$ROOT" && pwd)
  fi
}

take_option() { # OPTION VALUE
  case $1 in
    --root) ROOT=$2 ;;
    --from) FROM=$2 ;;
    --wheels) WHEELS=$2; [ -d "$2" ] || die "--wheels: $2: there is no such folder" ;;
    --password-file) PASSWORD_FILE=$2; [ -r "$2" ] || die "--password-file: $2: cannot be read" ;;
    --without) GIVEN[without]="${GIVEN[without]:-} $2" ;;
    *) local key=${1#--}; GIVEN[${key//-/_}]=$2 ;;
  esac
}

kept_choice() { # KEY: what was chosen before
  if [ -r "$ROOT$CHOICES" ]; then sed -n "s/^$1=//p" "$ROOT$CHOICES" | tail -n 1; fi
}

choose() {
  local first=no key
  [ -r "$ROOT$CHOICES" ] || first=yes
  for key in $KEYS; do
    if [ -z "${GIVEN[$key]+x}" ]; then GIVEN[$key]=$(kept_choice "$key"); fi
  done
  if [ "$first" = yes ] && [ "$YES" = no ] && [ "$DRY" = no ] && [ -t 0 ] && [ -t 1 ]; then ask_all; fi
  USER_NAME=${GIVEN[user]:-$(likely_user)}
  PI_CAMERA=${GIVEN[pi_camera]:-no}
  HEADER_SERIAL=${GIVEN[header_serial]:-no}
  SHUTDOWN_BUTTON=${GIVEN[shutdown_button]:-no}
  ACCESS_POINT=${GIVEN[access_point]:-no}
  WIFI_COUNTRY=${GIVEN[wifi_country]:-}
  LOGS=${GIVEN[logs]:-memory}
  WITHOUT=$(tr -s ' ' '\n' <<<"${GIVEN[without]:-}" | grep . | sort -u | paste -sd' ' || true)
  check_choices
}

check_choices() {
  local step
  [[ $PI_CAMERA =~ ^(yes|no)$ ]] || die "--pi-camera: found '$PI_CAMERA'; yes or no is wanted"
  [[ $HEADER_SERIAL =~ ^(yes|no)$ ]] || die "--header-serial: found '$HEADER_SERIAL'; yes or no is wanted"
  [[ $LOGS =~ ^(memory|disk)$ ]] || die "--logs: found '$LOGS'; memory or disk is wanted"
  if [ "$SHUTDOWN_BUTTON" != no ]; then
    [[ $SHUTDOWN_BUTTON =~ ^([2-9]|1[0-9]|2[0-7])$ ]] ||
      die "--shutdown-button: found '$SHUTDOWN_BUTTON'; the number of a GPIO of the header is wanted, 2 to 27, or no"
    if [ "$HEADER_SERIAL" = yes ] && [[ $SHUTDOWN_BUTTON =~ ^1[45]$ ]]; then
      die "--shutdown-button: GPIO$SHUTDOWN_BUTTON belongs to the serial port of --header-serial; choose another pin"
    fi
  fi
  if [ "$ACCESS_POINT" != no ]; then
    [[ $ACCESS_POINT =~ ^[A-Za-z0-9_.-]([A-Za-z0-9\ _.-]{0,30}[A-Za-z0-9_.-])?$ ]] ||
      die "--access-point: found '$ACCESS_POINT'; 1 to 32 letters, digits, blanks and any of . _ - are wanted"
    [[ $WIFI_COUNTRY =~ ^[A-Z]{2}$ ]] ||
      die "--wifi-country: found '$WIFI_COUNTRY'; the two capital letters of the country are wanted, such as DE or US: radio rules differ"
  fi
  if [ -n "$USER_NAME" ] && [ -z "$ROOT" ] && ! getent passwd "$USER_NAME" >/dev/null; then
    die "--user: there is no user '$USER_NAME' here; make one first (sudo adduser $USER_NAME), or name another"
  fi
  for step in $WITHOUT; do
    [[ $step =~ ^(packages|rights|program|boot|storage|network|services|none)$ ]] ||
      die "--without: there is no step '$step'; there are packages, rights, program, boot, storage, network, services"
  done
  if [[ " $WITHOUT " == *" none "* ]]; then WITHOUT=''; fi
}

likely_user() {
  if [ -n "$ROOT" ]; then return 0; fi
  if [ -n "${SUDO_USER:-}" ] && [ "$SUDO_USER" != root ]; then printf '%s' "$SUDO_USER"; return 0; fi
  getent passwd 1000 | cut -d: -f1 || true
}

ask() { # KEY QUESTION DEFAULT
  local answer
  if [ -n "${GIVEN[$1]:-}" ]; then return 0; fi
  read -r -p "$2 [$3] " answer || true
  GIVEN[$1]=${answer:-$3}
}

ask_all() {
  say "A few questions; an empty answer takes what stands in brackets."
  ask user "Who will work at the rig?" "$(likely_user)"
  ask pi_camera "Is there a camera at the Pi's own connector (yes, no)?" no
  ask shutdown_button "A button that switches the Pi off: from which GPIO to ground (3 also switches on again; no)?" no
  ask access_point "A Wi-Fi network of the rig's own: its name (no: none)?" no
  if [ "${GIVEN[access_point]}" != no ]; then ask wifi_country "In which country (two letters)?" ""; fi
}

keep_choices() {
  local line
  line="# What boatrun-setup was told; options of 'boatrun-setup install' change it."
  put "$CHOICES" 644 <<END || true
$line
user=$USER_NAME
pi_camera=$PI_CAMERA
header_serial=$HEADER_SERIAL
shutdown_button=$SHUTDOWN_BUTTON
access_point=$ACCESS_POINT
wifi_country=$WIFI_COUNTRY
logs=$LOGS
without=$WITHOUT
END
}

check_system() {
  local file=$ROOT/etc/os-release name='' arch
  if [ -r "$file" ]; then name=$(sed -n 's/^VERSION_CODENAME=//p' "$file" | tr -d '"'); fi
  case $name in
    bookworm | trixie) ;;
    *) die "system: found '${name:-unknown}'; Raspberry Pi OS or Debian of release bookworm or trixie is wanted; put that on the card" ;;
  esac
  if [ -n "$ROOT" ]; then return 0; fi
  command -v systemctl >/dev/null || die "system: found no systemd; it starts the rig's services; install systemd"
  arch=$(dpkg --print-architecture)
  case $arch in
    arm64 | amd64) ;;
    *) die "system: found $arch; a 64-bit system is wanted, because the vision libraries are made for it only; put the 64-bit Raspberry Pi OS on the card" ;;
  esac
}
