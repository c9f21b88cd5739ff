# What the scripts of this folder share; read by them, not run. Each works on the fleet whose settings are in `.env`
# (BLANKWRIGHT_ENV_FILE names another), from the top of the checkout.
set -euo pipefail
cd "$(dirname "${BASH_SOURCE[0]}")/.."
env_file=${BLANKWRIGHT_ENV_FILE:-.env}
umask 077
apis=(rates-api orders-api prescription-api glass-api process-api quoting-api desk-api)
workers=(prescription-worker glass-worker process-worker quoting-worker large-worker orders-worker webhooks-worker sweeper beat)

say() { printf '%s  %s\n' "$(date +%H:%M:%S)" "$*"; }
die() { printf '%s: %s\n' "$(basename "$0")" "$*" >&2; exit 1; }
dc() { docker compose --progress quiet --env-file "$env_file" "$@"; }

setting() { # name, default: what .env says
  local value; value=$(sed -n "s/^$1=//p" "$env_file" | tail -n 1); printf '%s' "${value:-${2:-}}"
}
set_setting() { # name, value: written into .env, in the place of what it said
  grep -v "^$1=" "$env_file" >"$env_file.part" || true
  printf '%s=%s\n' "$1" "$2" >>"$env_file.part"; chmod 0600 "$env_file.part"; mv -f "$env_file.part" "$env_file"
}
needs_settings() { [ -s "$env_file" ] || die "there is no $env_file; deploy/make-env.sh writes it"; }

as_owner() { # a command of ours with the rights of the owner of the tables
  dc run --rm -T --no-deps migrate "$@"
}
sql() { dc exec -T postgres psql -U blankwright -d blankwright -v ON_ERROR_STOP=1 -qAt "$@"; }
redis_as_operator() {
  local tls=(); [ "$(setting BLANKWRIGHT_REDIS_SCHEME redis)" = rediss ] && tls=(--tls --cacert /run/authority/ca.crt)
  dc exec -T -e REDISCLI_AUTH="$(setting BLANKWRIGHT_REDIS_PASSWORD)" redis redis-cli --user operator "${tls[@]}" "$@"
}

wait_healthy() { # seconds, container: until its health check is good; not for one that ends again and again
  local ends=$((SECONDS + $1)) state
  while [ $SECONDS -lt $ends ]; do
    state=$(docker inspect -f '{{if gt .RestartCount 2}}ends{{else if .State.Running}}{{.State.Health.Status}}{{end}}' "$2")
    case $state in healthy) return 0 ;; ends) return 1 ;; esac
    sleep 1
  done
  return 1
}

reload_front() { # read the front's configuration again, and wait until nobody is served by the old one (65 s at most)
  dc exec -T front nginx -c /etc/nginx/blankwright/front.conf -t -q || die 'the configuration of the front is not good; nothing was changed'
  dc exec -T front nginx -c /etc/nginx/blankwright/front.conf -s reload
  local ends=$((SECONDS + 65)); sleep 1
  while [ $SECONDS -lt $ends ] && dc exec -T front sh -c 'grep -aqs "is shutting[ ]down" /proc/[0-9]*/cmdline'; do sleep 1; done
}
