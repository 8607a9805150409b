#!/bin/sh
# Called as `loopkeeper restore BACKUP`. Puts a folder made by `loopkeeper backup` into a data folder that holds no data. All
# of it is checked first (checksums, every reading of the history, the state database), and only then moved into place.
set -eu
umask 077

deploy=$(CDPATH='' cd -- "$(dirname -- "$0")" && pwd -P)
data=${LOOPKEEPER_DATA:?}
sites=${LOOPKEEPER_SITES:-$data/sites}
fail() {
  echo "loopkeeper restore: $1" >&2
  exit "${2:-1}"
}

[ $# -eq 1 ] || fail 'one backup is needed: loopkeeper restore BACKUP' 2
backup=$1
case "$backup" in /*) ;; *) fail "$backup: an absolute path is needed" 2 ;; esac
[ -f "$backup/SHA256SUMS" ] || fail "$backup is no backup: there is no SHA256SUMS in it" 4
for file in history.db state.db site-credentials.json normal vitals learned; do
  [ ! -e "$data/$file" ] || fail "$data/$file exists already: stop the server and move the old data folder away first; nothing was written over" 4
done
[ -z "$(ls -A "$sites" 2>/dev/null)" ] || fail "$sites holds files already: move them away first; nothing was written over" 4

(cd -- "$backup" && sha256sum --check --strict --quiet SHA256SUMS) || fail "$backup is damaged: its files do not fit SHA256SUMS"
listed=$(wc -l <"$backup/SHA256SUMS")
found=$(find "$backup" -type f ! -name SHA256SUMS | wc -l)
[ "$listed" -eq "$found" ] || fail "$backup holds $found files, SHA256SUMS lists $listed: something was added or lost"

work=$data/.restore.$$
mkdir -- "$work"
trap 'rm -rf -- "$work"' EXIT
trap 'exit 1' HUP INT TERM
# Copies are looked at: opening a database in the backup itself would leave SQLite's files beside it.
cp -- "$backup/state.db" "$work/state.db"
"$LOOPKEEPER_NODE" -e '
  const db = new (require("better-sqlite3"))(process.argv[1], { fileMustExist: true })
  const found = db.pragma("integrity_check", { simple: true })
  if (found !== "ok") throw new Error(found)
  db.prepare("SELECT count(*) FROM alarm_journal").get()
  db.close()
' "$work/state.db" || fail "the state database of $backup is damaged: the lines above say how"
LOOPKEEPER_DATA=$work "$deploy/loopkeeper" history restore "$backup/history.db" || fail "the history of $backup is damaged"
for file in site-credentials.json traffic.json yard-links.json; do
  [ ! -f "$backup/$file" ] || cp -- "$backup/$file" "$work/$file"
done
for folder in normal vitals learned; do
  [ ! -d "$backup/$folder" ] || cp -R -- "$backup/$folder" "$work/$folder"
done
if [ -d "$backup/sites" ]; then
  mkdir -p -- "$sites"
  cp -R -- "$backup/sites/." "$sites"
fi
for file in "$work"/*; do mv -- "$file" "$data/"; done
sync -- "$data"
echo "restored $backup into $data"
