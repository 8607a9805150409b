/** A helper process of the simulator that tells the past of some of its sites. Its parent says what, through the channel between them. */
import { appendFileSync } from 'node:fs'
import { setPriority } from 'node:os'
import type { Fault } from './faults/fault.ts'
import { startFill, type Told } from './fill.ts'
import { generatedFleet, loadFleet } from './fleets/load.ts'
import { labels } from './labels.ts'
import type { Login } from './link.ts'
import type { PlantSpec } from './process/spec.ts'

/** From the parent. */
export type ToFill =
  | {
      readonly kind: 'begin'
      readonly fleet: string
      readonly loops: number
      readonly seed: number
      readonly biology: NonNullable<PlantSpec['biology']>
      readonly sites: readonly string[]
      readonly logins: Readonly<Record<string, Login | null>>
      readonly faults: readonly Fault[]
      readonly fromMs: number
      readonly toMs: number
      readonly url: string
      readonly prefix: string
      readonly clientSuffix: string
      readonly field: boolean
      readonly labelsFile: string | null
      readonly told: Readonly<Record<string, Told>>
    }
  /** The live readings are there: the past may be told. */
  | { readonly kind: 'live' }

/** To the parent. */
export type FromFill =
  | { readonly kind: 'told'; readonly site: string; readonly told: Told }
  | { readonly kind: 'say'; readonly line: string }
  | { readonly kind: 'over'; readonly sent: number; readonly dropped: number }

/** Behind everything that has to be on time, but not so far that a busy machine lets it starve. */
const NICE = 5

const tell = (m: FromFill): void => void process.send?.(m)

let open: () => void = () => undefined
const gate = new Promise<void>((done) => (open = done))
process.on('message', (m: ToFill) => {
  if (m.kind === 'live') open()
  else void begin(m)
})
// Without its parent nobody would stop it. A terminal tells both of them to end; the parent says when.
process.on('disconnect', () => process.exit(0))
for (const signal of ['SIGINT', 'SIGTERM'] as const) process.on(signal, () => undefined)

async function begin(b: ToFill & { readonly kind: 'begin' }): Promise<void> {
  try {
    setPriority(NICE)
  } catch {
    // Some systems do not allow it; then it is only less polite.
  }
  const fleet = b.fleet === 'generated' ? generatedFleet(b.loops, b.seed) : loadFleet(b.fleet, b.seed)
  const file = b.labelsFile
  const fill = startFill({
    specs: fleet.specs.filter((s) => b.sites.includes(s.site.id)).map((s) => ({ ...s, biology: b.biology })),
    faults: b.faults,
    fromMs: b.fromMs,
    toMs: b.toMs,
    url: b.url,
    prefix: b.prefix,
    logins: new Map(Object.entries(b.logins)),
    clientSuffix: b.clientSuffix,
    field: b.field,
    labels: file === null ? null : labels((line) => appendFileSync(file, `${line}\n`)),
    told: new Map(Object.entries(b.told)),
    onTold: (site, told) => tell({ kind: 'told', site, told }),
    gate,
    say: (line) => tell({ kind: 'say', line }),
  })
  await fill.over
  tell({ kind: 'over', ...fill.counters() })
}
