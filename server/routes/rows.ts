/** Every call of the API. The server registers these rows, and `/api/openapi.json` describes them. */
import { z } from 'zod'
import { describeApi } from '../openapi.ts'
import { alarmRows } from './alarms.ts'
import { setAsideRows } from './set-aside.ts'
import { changeRows } from './changes.ts'
import { countRows } from './counts.ts'
import { dueRows } from './due.ts'
import { healthRows } from './health.ts'
import { historyRows } from './history.ts'
import { intakeRows } from './intake.ts'
import { journalRows } from './journal.ts'
import { loopStateRows } from './loop-state.ts'
import { logRows } from './log.ts'
import { loopRows } from './loops.ts'
import { outlookRows } from './outlook.ts'
import { peopleRows } from './people.ts'
import { row, type Row } from './row.ts'
import { ruleRows } from './rules.ts'
import { setupRows } from './setup.ts'
import { credentialRows } from './credentials.ts'
import { yardLinkRows } from './yard-link.ts'

const openapiRow = row({
  method: 'GET',
  path: '/api/openapi.json',
  summary: 'This description.',
  reply: z.record(z.string(), z.unknown()),
  answer: ({ version }) => describeApi(ROWS, version),
})

export const ROWS: readonly Row[] = [
  ...healthRows,
  ...intakeRows,
  ...loopRows,
  ...loopStateRows,
  ...outlookRows,
  ...dueRows,
  ...historyRows,
  ...countRows,
  ...alarmRows,
  ...setAsideRows,
  ...changeRows,
  ...ruleRows,
  ...journalRows,
  ...logRows,
  ...setupRows,
  ...credentialRows,
  ...yardLinkRows,
  ...peopleRows,
  openapiRow,
]
