#!/usr/bin/env bash
# Makes the bucket that a plant is forwarded to, and a token that may write to it and do nothing else.
# Needs the command `influx` of InfluxDB 2, set up for a user who may do so (`influx config create`).
#
#   ./setup.sh ORGANISATION [BUCKET] [RETENTION]
#   ./setup.sh plant inkwatt 26280h        three years; 0 keeps everything
#
# The token is printed once, on the standard output and nowhere else: ./setup.sh plant > secrets/influx
set -euo pipefail

[ $# -ge 1 ] && [ $# -le 3 ] || { sed -n '2,9s/^# \{0,1\}//p' "$0" >&2; exit 2; }
organisation=$1 bucket=${2:-inkwatt} retention=${3:-0}

command -v influx >/dev/null || { echo "The command influx is missing; InfluxDB's own pages say where it is from." >&2; exit 2; }

# id of the bucket; nothing where there is none. The first line is the id.
bucket_id() { influx bucket list --org "$organisation" --name "$bucket" --hide-headers 2>/dev/null | awk 'NR == 1 { print $1 }' || true; }

id=$(bucket_id)
if [ -z "$id" ]; then
    influx bucket create --org "$organisation" --name "$bucket" --retention "$retention" >/dev/null
    id=$(bucket_id)
    echo "bucket $bucket made, retention $retention (0: for ever)" >&2
else
    echo "bucket $bucket is there already and stays as it is" >&2
fi
[ -n "$id" ] || { echo "bucket $bucket of $organisation could not be made or found" >&2; exit 3; }

umask 077
influx auth create --org "$organisation" --write-bucket "$id" --description "inkwatt writes to $bucket" --json |
    sed -n 's/^[[:space:]]*"token":[[:space:]]*"\(.*\)",\{0,1\}$/\1/p'
echo "the token may write to $bucket and read nothing; name its file in config/plant.toml: token_file" >&2
