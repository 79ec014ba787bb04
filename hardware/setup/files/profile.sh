# shellcheck shell=sh
# At log-in: what the check after the last start came to.
if [ -t 1 ] && [ -s /run/boatrun/check.txt ]; then
  printf 'boatrun check after start-up: %s (all of it: cat /run/boatrun/check.txt)\n' "$(tail -n 1 /run/boatrun/check.txt)"
fi
