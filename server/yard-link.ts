/** `npm run yard-link -- SITE [--withdraw] [--data DIR]`: a link of the yard page of a loop, for a server that is running on that data folder. */
import { existsSync } from 'node:fs'
import { parseArgs } from 'node:util'
import { openYardLinks } from './yard/links.ts'

const { values, positionals } = parseArgs({ allowPositionals: true, options: { data: { type: 'string' }, withdraw: { type: 'boolean' } } })
const dataDir = values.data ?? process.env.LOOPKEEPER_DATA ?? 'data'
const [site, ...more] = positionals
if (site === undefined || more.length > 0 || !/^[a-z0-9-]{1,64}$/.test(site)) {
  console.error('give the id of one loop: npm run yard-link -- SITE [--withdraw] [--data DIR]')
  process.exitCode = 2
} else if (!existsSync(dataDir)) {
  console.error(`${dataDir} is not there: give the data folder of the running server, npm run yard-link -- SITE --data DIR`)
  process.exitCode = 4
} else if (values.withdraw) {
  console.log(openYardLinks(dataDir, console.error).withdraw(site) ? `The link of ${site} no longer works.` : `${site} has no link.`)
} else {
  const path = openYardLinks(dataDir, console.error).make(site, 'command on the server', Date.now())
  console.log(`Behind the address of the page, shown only now; a former link of ${site} no longer works:\n${path}\nSheet for the sign, to print:\n${path}/sign`)
}
