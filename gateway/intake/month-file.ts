/** Keeps what each site has sent this month across restarts: one small file, written now and then. Lost, counting begins anew and says since when. */
import { readFileSync, renameSync, writeFileSync } from 'node:fs'
import { z } from 'zod'
import type { MonthUse } from '../site/data-plan.ts'
import type { Intake } from './intake.ts'

const fileSchema = z.record(
  z.string(),
  z.object({ month: z.string(), messages: z.number().min(0), bytes: z.number().min(0), sinceMs: z.number(), onceBytes: z.number().min(0).optional() }),
)

/** Hands the counts of an earlier run to intake; a file that is not there or cannot be read is none. */
export function resumeMonths(file: string, intake: Pick<Intake, 'resumeMonth'>): void {
  let raw: unknown
  try {
    raw = JSON.parse(readFileSync(file, 'utf8'))
  } catch {
    return
  }
  const read = fileSchema.safeParse(raw)
  if (read.success) for (const [site, use] of Object.entries(read.data)) intake.resumeMonth(site, use)
}

/** False: the disk did not take it; what was written before stays. */
export function keepMonths(file: string, intake: Pick<Intake, 'traffic'>): boolean {
  const out: Record<string, MonthUse> = {}
  for (const { site, month } of intake.traffic()) {
    if (!month) continue
    const { messages, bytes, sinceMs, onceBytes } = month
    out[site] = { month: month.month, messages, bytes, sinceMs, ...(onceBytes !== undefined && { onceBytes }) }
  }
  try {
    writeFileSync(`${file}.new`, JSON.stringify(out))
    renameSync(`${file}.new`, file)
    return true
  } catch {
    return false
  }
}
