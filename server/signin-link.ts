/** `npm run signin-link -- [--data DIR]`: one more sign-in link for a server that is running on that data folder. */
import { existsSync } from 'node:fs'
import { issueLink } from './people/links.ts'

const args = process.argv.slice(2)
const at = args.indexOf('--data')
const dataDir = at >= 0 ? args[at + 1] : (process.env.LOOPKEEPER_DATA ?? 'data')
if (dataDir === undefined || !existsSync(dataDir)) {
  console.error(`${dataDir ?? 'that folder'} is not there: give the data folder of the running server, npm run signin-link -- --data DIR`)
  process.exitCode = 4
} else {
  console.log(`Open this behind the address of the page; it works once, for 15 minutes:\n${issueLink(dataDir, Date.now())}`)
}
