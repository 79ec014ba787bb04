# shellcheck shell=bash
# Packages of the system that the program or its services need.

needed_packages() {
  echo acl ca-certificates libgl1 libglib2.0-0 python3 python3-venv util-linux
  if [ "$PI_CAMERA" = yes ]; then echo python3-picamera2; fi
  if [ "$ACCESS_POINT" != no ]; then echo dnsmasq-base network-manager nftables rfkill; fi
}

is_installed() { # PACKAGE: under its own name, or under the one it got when times became 64 bits long (trixie)
  local name
  for name in "$1" "$1t64"; do
    if [ "$(dpkg-query -W -f='${db:Status-Status}' "$name" 2>/dev/null)" = installed ]; then return 0; fi
  done
  return 1
}

step_packages() {
  if [ -n "$ROOT" ]; then say "  not looked at below another root"; return 0; fi
  local name missing=()
  for name in $(needed_packages); do
    is_installed "$name" || missing+=("$name")
  done
  if [ ${#missing[@]} = 0 ]; then return 0; fi
  export DEBIAN_FRONTEND=noninteractive
  act "fetch the lists of packages" apt-get update -q
  if [ "$PI_CAMERA" = yes ] && [ "$DRY" = no ] && ! apt-cache show python3-picamera2 >/dev/null 2>&1; then
    die "--pi-camera: this system's package lists have no python3-picamera2; it comes with Raspberry Pi OS only; use that, or a USB camera (--pi-camera no)"
  fi
  act "install packages: ${missing[*]}" apt-get install -y -q --no-install-recommends "${missing[@]}"
  for name in "${missing[@]}"; do remember "package $name"; done
}
