# shellcheck shell=bash
# The rig's own Wi-Fi network, as a connection of NetworkManager. There is no default password: it is asked for, read from
# a file, or made up and shown once. It stands in no log.

CONNECTION=/etc/NetworkManager/system-connections/boatrun-access-point.nmconnection

step_network() {
  if [ "$ACCESS_POINT" = no ]; then
    if [ -e "$ROOT$CONNECTION" ] && [ -n "$(left_sum made "$CONNECTION")" ]; then drop "$CONNECTION"; RESTART=yes; fi
    return 0
  fi
  local password shown=no
  password=$(sed -n 's/^psk=//p' "$ROOT$CONNECTION" 2>/dev/null || true)
  if [ -n "$PASSWORD_FILE" ]; then
    password=$(head -n 1 "$PASSWORD_FILE" | tr -d '\r')
  elif [ -z "$password" ] && [ "$DRY" = no ]; then
    if [ "$YES" = no ] && [ -t 0 ]; then ask_password; password=$ASKED; fi
    if [ -z "$password" ]; then password=$(made_up_password); shown=yes; fi
  fi
  if [ "$DRY" = no ] || [ -n "$PASSWORD_FILE" ]; then check_password "$password"; fi
  if connection "$password" | put "$CONNECTION" 600; then
    RESTART=yes
    say "    from the next start on wlan0 carries the network \"$ACCESS_POINT\"; whoever is logged in over Wi-Fi now must"
    say "    use it then, or a cable; the rig is at 10.42.0.1"
  fi
  if [ "$shown" = yes ]; then
    say "    its password, shown this once (write it down): $password"
  fi
  unblock_radio
}

check_password() {
  [[ $1 =~ ^[!-~]{8,63}$ && $1 != *\\* ]] ||
    die "password of the network: found ${#1} characters; 8 to 63 letters, digits and signs are wanted (IEEE 802.11), no blanks, no backslash, no accents"
}

ASKED=''
ask_password() {
  local first second
  while :; do
    read -r -s -p "Password for the network \"$ACCESS_POINT\" (empty: make one up): " first || return 0
    echo
    [ -n "$first" ] || return 0
    read -r -s -p "Once more: " second || return 0
    echo
    if [ "$first" = "$second" ]; then ASKED=$first; return 0; fi
    say "They differ; try again."
  done
}

made_up_password() { # 12 of 31 signs that are not mistaken for each other: 59 bits
  local text
  text=$(head -c 2000 /dev/urandom | LC_ALL=C tr -dc 'abcdefghjkmnpqrstuvwxyz23456789')
  printf '%s-%s-%s' "${text:0:4}" "${text:4:4}" "${text:8:4}"
}

connection() { # PASSWORD
  cat <<END
[connection]
id=boatrun-access-point
uuid=$(printf 'boatrun access point %s' "$ACCESS_POINT" | sha256sum | sed 's/^\(.\{8\}\)\(.\{4\}\).\(.\{3\}\).\(.\{3\}\)\(.\{12\}\).*/\1-\2-4\3-8\4-\5/')
type=wifi
interface-name=wlan0
autoconnect=true
autoconnect-priority=10

[wifi]
mode=ap
ssid=$ACCESS_POINT
band=bg
ap-isolation=1

[wifi-security]
key-mgmt=wpa-psk
proto=rsn;
pairwise=ccmp;
group=ccmp;
psk=$1

[ipv4]
method=shared
address1=10.42.0.1/24

[ipv6]
method=disabled
END
}

unblock_radio() { # Raspberry Pi OS keeps the radio off until a country is known
  if ! is_live || [ "$DRY" = yes ]; then return 0; fi
  if rfkill list wifi 2>/dev/null | grep -q 'Soft blocked: yes'; then act "switch the Wi-Fi radio on" rfkill unblock wifi; fi
  if [ "$(nmcli -t radio wifi 2>/dev/null)" = disabled ]; then act "let NetworkManager use Wi-Fi" nmcli radio wifi on; fi
}
