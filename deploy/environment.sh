# Sourced by deploy/run and tests/run: the virtual environment in the checkout, made of one locked list.

top=$(cd "$(dirname "${BASH_SOURCE[0]}")/.." && pwd -P)
venv=$top/.venv

fail() {
  printf 'fieldledger: %s\n' "$*" >&2
  exit 1
}

find_python() {
  local candidate old=
  for candidate in ${PYTHON:-python3 python3.14 python3.13 python3.12 python3.11}; do
    command -v "$candidate" >/dev/null 2>&1 || continue
    if ! "$candidate" -c 'import sys; sys.exit(sys.version_info < (3, 11))' 2>/dev/null; then
      old=$candidate
    elif ! "$candidate" -c 'import venv, ensurepip' 2>/dev/null; then
      fail "$candidate lacks its venv module; on Debian and Ubuntu: apt-get install python3-venv"
    else
      printf '%s' "$candidate"
      return
    fi
  done
  [ -z "$old" ] || fail "Python 3.11 or newer is needed; $old is $("$old" -V 2>&1). PYTHON may name another."
  fail "Python 3.11 or newer is needed and none was found. PYTHON may name one."
}

# prepare LOCK: instant when this very list is already installed. --no-deps, since the list is complete.
prepare() {
  local lock=$1 stamp=$venv/installed-${1//\//-} python
  if [ -x "$venv/bin/python" ] && cmp -s "$lock" "$stamp"; then return; fi
  if ! "$venv/bin/python" -m pip --version >/dev/null 2>&1; then
    python=$(find_python) || exit 1
    echo "Making the virtual environment .venv with $("$python" -V)." >&2
    "$python" -m venv --clear "$venv"
  fi
  echo "Installing the locked requirements of $lock. This happens once." >&2
  "$venv/bin/python" -m pip install --quiet --no-input --disable-pip-version-check \
    --require-hashes --no-deps --only-binary :all: --requirement "$lock" ||
    fail "the requirements could not be installed; see the message of pip above"
  cp "$lock" "$stamp"
}

cd "$top" || exit 1
export PYTHONPATH=$top
