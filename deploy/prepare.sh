#!/bin/sh
# Makes a checkout ready to run without npm: the packages of the lock file without those only developers need, the database
# driver compiled here, the page built. Needs Node, npm, python3, make and g++. May be run again; does not start anything.
#
#   prepare.sh            all of it
#   prepare.sh packages   packages and driver only (needs package.json and package-lock.json)
#   prepare.sh page       the page only
set -eu
cd -- "$(dirname -- "$(readlink -f -- "$0")")/.."

packages() {
  # No package runs a script of its own while it is installed; the one that must be compiled is named.
  npm ci --omit=dev --ignore-scripts --no-audit --no-fund --loglevel=error
  # Node's own headers lie beside it in its archive and in its container image: nothing is fetched for the build.
  nodedir=$(node -p "require('node:path').resolve(process.execPath, '../..')")
  if [ -f "$nodedir/include/node/node.h" ]; then export npm_config_nodedir="$nodedir"; fi
  npm_config_build_from_source=true npm rebuild better-sqlite3 --ignore-scripts=false --foreground-scripts --loglevel=error
  node -e "new (require('better-sqlite3'))(':memory:').close()"
}

page() {
  node --input-type=module -e "import { ensurePage } from './server/prepare.mjs'; await ensurePage(console.log)"
}

case "${1:-all}" in
  all)
    # Not joined with &&, which would switch `set -e` off inside.
    packages
    page
    ;;
  packages) packages ;;
  page) page ;;
  *)
    echo "prepare.sh: \"$1\" is no step: packages, page, or nothing for both" >&2
    exit 2
    ;;
esac
