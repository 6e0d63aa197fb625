# Sourced by tests/run: on a build machine, a Docker engine of this run's own, with the image that tests/containers.py starts
# from. No registry is asked: the image is made of the system's own packages. Without it the tests use the embedded servers.

image=fieldledger-tests-base

engine_up() {
  [ "${CI:-}" = true ] && [ "$(id -u)" = 0 ] || return 0
  command -v dockerd >/dev/null && command -v debootstrap >/dev/null || return 0
  engine=$(mktemp -d)
  trap engine_down EXIT
  export DOCKER_HOST=unix://$engine/docker.sock
  dockerd --host "$DOCKER_HOST" --bridge none --iptables=false --ip6tables=false --data-root "$engine/data" --exec-root "$engine/exec" \
    --pidfile "$engine/pid" >"$engine/log" 2>&1 &
  if base_image "$engine"; then return; fi
  echo "No Docker engine came up within its time; the end of its log:" >&2
  tail -n 5 "$engine/log" >&2
  engine_down
}

base_image() {
  local start=$SECONDS
  until [ -S "$1/docker.sock" ] && docker info >/dev/null 2>&1; do
    [ $((SECONDS - start)) -lt 20 ] && sleep 0.5 || return 1
  done
  timeout 90 debootstrap --variant=minbase "$(. /etc/os-release && echo "$VERSION_CODENAME")" "$1/base" >>"$1/log" 2>&1 &&
    tar -C "$1/base" -c . | timeout 30 docker import - "$image" >>"$1/log"
}

# Whatever the tests found is the run's answer: a folder that is still in use when the engine goes down is told, and no more.
engine_down() {
  local pid
  pid=$(cat "$engine/pid" 2>/dev/null) && kill "$pid" && tail --pid="$pid" -f /dev/null
  awk -v top="$engine/" 'index($2, top) == 1 { print $2 }' /proc/mounts | sort -r | xargs -r umount --lazy
  rm -rf --one-file-system "$engine" || echo "Left behind: $engine" >&2
  unset DOCKER_HOST
  trap - EXIT
}
