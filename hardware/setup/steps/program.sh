# shellcheck shell=bash
# The program: every version in an environment of its own, looked at before it is used; `current` names the one at work.
#
# A version's name tells its content: the same source is never installed twice, and a changed one never over another.

HOME_DIR=/opt/boatrun
VERSIONS=$HOME_DIR/versions
HEALTH_S=900

step_program() {
  local name
  copy_setup
  find_source
  if [ -z "$FROM" ]; then
    say "  the program is left as it is (name another with --from)"
    return 0
  fi
  if [ -n "$ROOT" ]; then say "  not installed below another root"; return 0; fi
  name=$(version_name)
  if [ "$DRY" = yes ] && [ ! -e "$VERSIONS/$name/healthy" ]; then
    changed "would install version $name and switch to it if it passes its health check"
    return 0
  fi
  [ -e "$VERSIONS/$name/healthy" ] || make_version "$name"
  switch_to "$name"
  link /usr/local/bin/boatrun "$HOME_DIR/current/bin/boatrun"
  forget_old
}

copy_setup() { # so that roll-back, backup and uninstall need no folder of the program
  local to=$ROOT$HOME_DIR/setup
  if [ "$SETUP" = "$HOME_DIR/setup" ]; then return 0; fi
  if ! diff -rq "$SETUP" "$to" >/dev/null 2>&1; then
    if [ "$DRY" = yes ]; then
      changed "would copy this script to $HOME_DIR/setup"
    else
      rm -rf "$to.boatrun-new"
      make_parents "$HOME_DIR/setup"
      mkdir -p "${to%/*}"
      cp -r "$SETUP" "$to.boatrun-new"
      chmod -R u=rwX,go=rX "$to.boatrun-new"
      rm -rf "$to"
      mv "$to.boatrun-new" "$to"
      changed "copied this script to $HOME_DIR/setup"
    fi
  fi
  link /usr/local/sbin/boatrun-setup "$HOME_DIR/setup/boatrun-setup"
}

find_source() { # FROM: a folder or a wheel; empty if the version that is there is to stay
  if [ -z "$FROM" ] && [ -f "$SETUP/../../pyproject.toml" ]; then FROM=$SETUP/../..; fi
  if [ -z "$FROM" ]; then
    if [ -e "$ROOT$HOME_DIR/current" ] || [ "$DRY" = yes ]; then return 0; fi
    die "--from: not given, and this script does not lie in the folder of boatrun; name that folder, or a wheel"
  fi
  [ -e "$FROM" ] || die "--from: $FROM: there is no such folder or wheel"
  FROM=$(readlink -f "$FROM")
  if [ -d "$FROM" ]; then
    grep -qx 'name = "boatrun"' "$FROM/pyproject.toml" 2>/dev/null ||
      die "--from: $FROM: is no folder of boatrun (its pyproject.toml does not say so); name the folder that holds README.md and logger/"
  else
    [[ ${FROM##*/} =~ ^boatrun-[0-9][0-9A-Za-z.+]*-py3-none-any\.whl$ ]] ||
      die "--from: ${FROM##*/}: is no wheel of boatrun; one is called boatrun-VERSION-py3-none-any.whl"
  fi
}

source_files() { # names of all that counts, in an order that does not depend on the machine
  cd "$FROM" && find pyproject.toml README.md LICENSE logger calibration -type f \
    ! -path '*/__pycache__/*' -print0 | LC_ALL=C sort -z
}

version_name() {
  local number sum python
  if [ -d "$FROM" ]; then
    number=$(sed -n 's/^version = "\(.*\)"$/\1/p' "$FROM/pyproject.toml" | head -n 1)
    sum=$(source_files | (cd "$FROM" && xargs -0 sha256sum) | sha256sum)
  else
    number=${FROM##*/boatrun-}; number=${number%%-*}
    sum=$(sha256sum <"$FROM")
  fi
  python=$(python3 -c 'import sys; print("%d.%d" % sys.version_info[:2])')
  printf '%s-%s-python%s%s' "$number" "${sum:0:10}" "$python" "$([ "$PI_CAMERA" = no ] || echo -picamera)"
}

make_version() { # NAME
  local env=$VERSIONS/$1 source=$FROM work options=()
  work=$(mktemp -d -p /var/tmp boatrun-setup.XXXXXX)
  if [ -d "$FROM" ]; then # built from a copy: building leaves things behind
    source=$work/source
    mkdir "$source"
    source_files | (cd "$FROM" && xargs -0 cp --parents -t "$source")
  fi
  if [ -n "$WHEELS" ]; then options=(--no-index --find-links "$(readlink -f "$WHEELS")"); fi
  rm -rf "$env"
  mkdir -p "$VERSIONS"
  if [ "$PI_CAMERA" = yes ]; then
    # picamera2 is a package of the system. What it shares with the program (NumPy, simplejpeg) is installed anew inside:
    # system libraries made for an older NumPy cannot be loaded beside a newer one.
    act "make the environment of $1" python3 -m venv --system-site-packages "$env"
    options+=(--ignore-installed)
  else
    act "make the environment of $1" python3 -m venv "$env"
  fi
  act "install boatrun and its libraries (takes minutes)" \
    env TMPDIR="$work" "$env/bin/python" -m pip install --no-cache-dir --disable-pip-version-check "${options[@]}" "$source"
  "$env/bin/python" -m pip list --format=freeze --disable-pip-version-check >"$env/libraries.txt" 2>/dev/null
  printf 'from %s\nat %s\n' "$FROM" "$(date +%Y-%m-%dT%H:%M:%S%z)" >"$env/origin.txt"
  rm -rf "$work"
  if is_healthy "$env"; then
    touch "$env/healthy"
    sync "$env"
    log "version $1 passed its health check"
  else
    rm -rf "$env"
    fail "version $1 did not pass its health check (above and in $LOG); it was taken away; $(who_works)"
  fi
}

who_works() {
  if [ -e "$HOME_DIR/current" ]; then
    printf 'the version at work is still %s' "$(basename "$(readlink "$HOME_DIR/current")")"
  else
    printf 'no version is installed'
  fi
}

is_healthy() { # ENVIRONMENT: it measures an invented run right, as the account that will run it
  local env=$1 work said status=0
  say "  health check: an invented run is recorded and measured"
  work=$(mktemp -d -p /var/tmp boatrun-health.XXXXXX)
  said=$(mktemp)
  chown boatrun "$work"
  (
    cd "$work" && exec timeout "$HEALTH_S" runuser -u boatrun -- env -i HOME="$work" PATH=/usr/bin:/bin LANG=C.UTF-8 \
      sh -euc '
        "$1/bin/boatrun" --version
        [ "$2" = no ] || "$1/bin/python" -c "import picamera2; print(\"picamera2 can be loaded\")"
        "$1/bin/boatrun" simulate --tier easy --kind straight --count 1 --seed 1 --to tank
        "$1/bin/boatrun" measure --json tank/* >trial.json
        "$1/bin/python" -c "
import json
trial = json.load(open(\"trial.json\"))
assert trial[\"status\"] == \"valid\", trial[\"status\"]
time = trial[\"results\"][\"time_s\"]
print(\"an invented run took %.3f s, +- %.3f s\" % (time[\"value\"], time[\"U\"]))
"' health "$env" "$PI_CAMERA"
  ) >"$said" 2>&1 </dev/null || status=$?
  sed 's/^/    /' "$said" >>"$LOG"
  if [ $status != 0 ]; then tail -n 15 "$said" >&2; else tail -n 1 "$said" | sed 's/^/  /'; fi
  rm -rf "$work" "$said"
  return $status
}

switch_to() { # NAME
  local before=''
  if [ -L "$HOME_DIR/current" ]; then before=$(readlink "$HOME_DIR/current"); fi
  if [ "$before" = "versions/$1" ]; then return 0; fi
  if [ -n "$before" ]; then link "$HOME_DIR/previous" "$before"; fi
  link "$HOME_DIR/current" "versions/$1"
  if [ "$DRY" = yes ] || "$HOME_DIR/current/bin/boatrun" --version >/dev/null 2>&1; then pages_anew; return 0; fi
  if [ -n "$before" ]; then link "$HOME_DIR/current" "$before"; fi
  fail "version $1 does not start after the switch; $(who_works); look into $LOG"
}

forget_old() { # the one at work and the one before stay
  local env kept
  kept=" $(readlink "$HOME_DIR/current" || true) $(readlink "$HOME_DIR/previous" || true) "
  for env in "$VERSIONS"/*/; do
    env=${env%/}
    [ -d "$env" ] || continue
    case $kept in *" versions/${env##*/} "*) continue ;; esac
    act "take away the old version ${env##*/}" rm -rf "$env"
  done
}

roll_back() {
  if [ -n "$ROOT" ]; then die "roll-back: cannot be done below another root"; fi
  local now before
  now=$(readlink "$HOME_DIR/current" || true)
  before=$(readlink "$HOME_DIR/previous" || true)
  if [ -z "$before" ] || [ ! -e "$HOME_DIR/$before/healthy" ]; then
    die "roll-back: there is no version from before; install one with: boatrun-setup install --from FOLDER"
  fi
  PI_CAMERA=$(case $before in *-picamera) echo yes ;; *) echo no ;; esac)
  if [ "$DRY" = no ]; then
    is_healthy "$HOME_DIR/$before" || fail "roll-back: ${before##*/} does not pass its health check any more; $(who_works)"
  fi
  link "$HOME_DIR/current" "$before"
  link "$HOME_DIR/previous" "$now"
  pages_anew
  say "  at work now: ${before##*/}; calling roll-back again goes forward to ${now##*/}"
}

status() {
  local name
  for name in current previous; do
    if [ -L "$ROOT$HOME_DIR/$name" ]; then
      say "$name: $(basename "$(readlink "$ROOT$HOME_DIR/$name")")"
    else
      say "$name: none"
    fi
  done
  if [ -r "$ROOT$CHOICES" ]; then grep -v '^#' "$ROOT$CHOICES"; else say "nothing was chosen yet"; fi
  if is_live && [ -r /run/boatrun/check.txt ]; then
    say "the check at start-up: $(tail -n 1 /run/boatrun/check.txt)"
  fi
  if is_live; then say "the pages: $(systemctl is-active boatrun-serve.service || true)"; fi
}
