#!/bin/sh
# Called as `loopkeeper backup FOLDER [--keep N]`. Copies the data folder into FOLDER/loopkeeper-<UTC time>, whole or not at
# all, while the server runs: the two databases through SQLite's own backup, history first, so that the alarm journal is never
# older than it. Left out: sign-in sessions and links (people sign in again) and the secrets of the demo fleet.
set -eu
umask 077

deploy=$(CDPATH='' cd -- "$(dirname -- "$0")" && pwd -P)
data=${LOOPKEEPER_DATA:?}
sites=${LOOPKEEPER_SITES:-$data/sites}
fail() {
  echo "loopkeeper backup: $1" >&2
  exit "${2:-1}"
}

target=''
keep=0
while [ $# -gt 0 ]; do
  case "$1" in
    --keep)
      keep=${2:-}
      case "$keep" in '' | *[!0-9]* | 0*) fail "--keep is \"$keep\": a whole number from 1 is needed" 2 ;; esac
      shift 2
      ;;
    -*) fail "$1 is no option: loopkeeper backup FOLDER [--keep N]" 2 ;;
    *)
      [ -z "$target" ] || fail "one folder is needed, $target and $1 were given" 2
      target=$1
      shift
      ;;
  esac
done
case "$target" in
  /*) ;;
  '') fail 'a folder for the backups is needed: loopkeeper backup FOLDER [--keep N]' 2 ;;
  *) fail "$target: an absolute path is needed" 2 ;;
esac
[ -d "$target" ] || fail "there is no folder $target: make it first, owned by the user of the service" 4
[ -f "$data/history.db" ] && [ -f "$data/state.db" ] || fail "there is no history.db and state.db in $data: is LOOPKEEPER_DATA right?" 4

name=loopkeeper-$(date -u +%Y%m%dT%H%M%SZ)
work=$target/.$name.partial
[ ! -e "$target/$name" ] || fail "$target/$name exists already: wait a second"
mkdir -- "$work"
trap 'rm -rf -- "$work"' EXIT
trap 'exit 1' HUP INT TERM

"$deploy/loopkeeper" history backup "$work/history.db" >/dev/null
# Two arguments: from, to. The present folder is that of the program, so its database driver is found.
"$LOOPKEEPER_NODE" -e '
  const db = new (require("better-sqlite3"))(process.argv[1], { readonly: true, fileMustExist: true, timeout: 5000 })
  db.backup(process.argv[2]).then(() => db.close())
' "$data/state.db" "$work/state.db"
for file in site-credentials.json traffic.json yard-links.json; do
  [ ! -f "$data/$file" ] || cp -- "$data/$file" "$work/$file"
done
# First normals are frozen, tests of two months are compared, and rules have learned for weeks: the history that came from may be forgotten by now.
# Whole files only, each is renamed into place. How far the past of vitals was gone through is left behind (vitals/past): a restored history is looked at anew.
for folder in normal vitals learned; do
  if ls "$data/$folder"/*.json >/dev/null 2>&1; then
    mkdir -- "$work/$folder"
    cp -- "$data/$folder"/*.json "$work/$folder/"
  fi
done
[ ! -d "$sites" ] || cp -R -- "$sites/." "$work/sites"
printf 'Loopkeeper %s\nNode %s\ntaken %s\n' "$("$LOOPKEEPER_NODE" -p "require('$deploy/../package.json').version")" "$("$LOOPKEEPER_NODE" -p process.versions.node)" "$(date -u +%Y-%m-%dT%H:%M:%SZ)" >"$work/about.txt"
(cd -- "$work" && find . -type f ! -name SHA256SUMS -print0 | sort -z | xargs -0 sha256sum >SHA256SUMS)
sync -- "$work"/* "$work"
mv -- "$work" "$target/$name"
sync -- "$target"
trap - EXIT
echo "$target/$name"

[ "$keep" -gt 0 ] || exit 0
# Names begin with the time, so the order of names is the order of age.
find "$target" -mindepth 1 -maxdepth 1 -type d -name 'loopkeeper-[0-9]*T[0-9]*Z' | sort -r | tail -n "+$((keep + 1))" | while IFS= read -r old; do
  rm -rf -- "$old"
  echo "removed $old"
done
