/**
 * A day of the demo fleet in a few seconds: the simulated plants run through the real intake, history and alarm engine on a
 * clock that is moved by hand, with troubles placed so that the last minutes show every kind. The server then serves the end
 * of that day. Same seed, same scene.
 */
import { mkdtempSync, rmSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import type { Clock } from '../../gateway/clock.ts'
import { compose } from '../../gateway/compose.ts'
import type { GatewayCore } from '../../gateway/gateway.ts'
import { buildApp } from '../../server/app.ts'
import { createAccess } from '../../server/people/access.ts'
import { fleetDir } from '../../simulator/fleets/fleets.ts'
import { loadFleet } from '../../simulator/fleets/load.ts'
import { onClock, type Planned } from '../../simulator/fleets/plan.ts'
import { buildLoop } from '../../simulator/loop.ts'

/** Tuesday 17 November 2026, 10:16 UTC: every yard of the fleet but the farthest is at work. */
const END_MS = Date.UTC(2026, 10, 17, 10, 16)
const HOURS = 24

/** Minutes are counted from the end; the last ones are what the pictures show. */
const PLAN: readonly Planned[] = [
  { site: 'kestrow-berth-3', kind: 'blower-trip', fromMin: -24, toMin: null },
  { site: 'ullenwick-bus-north', kind: 'transfer-airlock', fromMin: -70, toMin: null },
  { site: 'thrapplow-quarry-upper', kind: 'link-out', fromMin: -47, toMin: null },
]

export interface Scene {
  readonly page: string
  /** Path of a one-time sign-in page. */
  readonly signIn: () => string
  readonly core: GatewayCore
  stop(): Promise<void>
}

export async function openScene(pageDir: string): Promise<Scene> {
  const dataDir = mkdtempSync(join(tmpdir(), 'loopkeeper-scene-'))
  let simulatedMs = END_MS - HOURS * 3_600_000
  let live: { readonly sinceMs: number } | null = null
  // Simulated until the scene is set, then it goes on with the time that really passes.
  const clock: Clock = {
    nowMs: () => Math.floor(live ? simulatedMs + performance.now() - live.sinceMs : simulatedMs),
    steadyMs: () => (live ? simulatedMs + performance.now() - live.sinceMs : simulatedMs),
  }
  const parts = await compose({ dataDir, synchronous: 'normal', prefix: 'loopkeeper/v1' }, clock, fleetDir('demo'))
  const core = parts.start({ brokers: () => [{ name: 'own broker', state: 'listening', detail: 'mqtt://127.0.0.1:1884' }], counters: () => [], troubles: () => [] })
  const fleet = loadFleet('demo', 1)
  const faults = onClock(PLAN, END_MS)
  const loops = fleet.specs.map((spec) => buildLoop(spec, faults, simulatedMs - 2 * 86_400_000))
  for (const loop of loops) loop.advance(simulatedMs, null)
  // A broken link is no matter of the plant: the controller sends, and nothing arrives.
  const cut = (site: string): boolean => faults.some((f) => f.kind === 'link-out' && f.site === site && simulatedMs >= f.onsetMs)
  const encoder = new TextEncoder()
  for (; simulatedMs < END_MS; simulatedMs += 10_000) {
    for (const loop of loops) {
      const site = loop.spec.site.id
      loop.advance(simulatedMs, (payload) => {
        if (!cut(site)) parts.intake.take({ topic: `loopkeeper/v1/${site}`, payload: encoder.encode(payload), receivedMs: simulatedMs, retained: false, site, broker: 'scene' })
      })
    }
    core.tick()
    // The journal is written between the steps of the clock, as it would be between messages.
    if (simulatedMs % 60_000 === 0) await new Promise((r) => setImmediate(r))
  }
  await core.port.log.add(
    { site: 'kestrow-berth-3', kind: 'kit', atMs: END_MS - 5 * 3_600_000, item: 'alkalinity', value: 110, unit: 'mg/L', text: 'titration kit, treatment unit' },
    'Ruth A.',
  )
  await core.port.log.add(
    { site: 'kestrow-berth-3', kind: 'observation', atMs: END_MS - 2 * 3_600_000, item: 'white foam', text: 'a hand high, gone after an hour' },
    'berth office',
  )
  live = { sinceMs: performance.now() }
  const access = await createAccess({ dataDir, clock, tokens: [] })
  const app = await buildApp({ gateway: core.port, clock, access, version: '0.1.0', pageDir })
  await app.server.listen({ port: 0, host: '127.0.0.1' })
  const address = app.server.server.address()
  const port = typeof address === 'object' && address !== null ? address.port : 0
  return {
    page: `http://127.0.0.1:${port}`,
    signIn: () => access.newLink(),
    core,
    async stop() {
      await app.stop({ withinMs: 1000 })
      await parts.stop()
      rmSync(dataDir, { recursive: true, force: true })
    },
  }
}
