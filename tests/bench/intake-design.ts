/**
 * The design load: 1,905 rich loops of 42 signals, a message of each every 10 s, 8,000 readings a second over 80,000 signals, from Mosquitto
 * into the whole gateway in a process of its own with checks and default alarms on. How much of one core it takes and how much memory it holds, from /proc.
 */
import { spawn } from 'node:child_process'
import { existsSync, mkdirSync, mkdtempSync, readFileSync, rmSync, writeFileSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { fileURLToPath } from 'node:url'
import { openEmbedded } from '../../gateway/history/embedded.ts'
import { createMosquitto, mosquittoPath, withoutMosquitto } from '../intake/mosquitto.ts'
import { realClock, until } from '../intake/parts.ts'
import type { Figure } from './figure.ts'

const LOOPS = 1905
const SIGNALS = 42
/** Every signal has been heard twice, and the first seal has passed. */
const WARM_S = 40
const MEASURE_S = 60
/** Clock ticks a second in /proc/PID/stat: fixed at 100 on Linux. */
const TICKS = 100

const here = (name: string): string => fileURLToPath(new URL(name, import.meta.url))
const wait = (s: number): Promise<void> => new Promise((resolve) => setTimeout(resolve, s * 1000))

/** Processor time, s; memory now and at its highest, MB. */
function usage(pid: number): { readonly cpuS: number; readonly rssMb: number; readonly peakMb: number } {
  const stat = readFileSync(`/proc/${pid}/stat`, 'utf8')
  const fields = stat.slice(stat.lastIndexOf(')') + 2).split(' ')
  const status = readFileSync(`/proc/${pid}/status`, 'utf8')
  const kb = (name: string): number => Number(new RegExp(`${name}:\\s+(\\d+) kB`).exec(status)?.[1])
  return { cpuS: (Number(fields[11]) + Number(fields[12])) / TICKS, rssMb: kb('VmRSS') / 1024, peakMb: kb('VmHWM') / 1024 }
}

export async function designLoad(): Promise<Figure[]> {
  if (mosquittoPath === null || !existsSync('/proc/self/stat')) {
    console.log(`intake.design.cpuPct, intake.design.rssMb: not measured${withoutMosquitto || ' (no /proc on this machine)'}`)
    return []
  }
  const mosquitto = await createMosquitto({ inFlight: 0 })
  await mosquitto.start()
  const dir = mkdtempSync(join(tmpdir(), 'bench-design-'))
  const sites = join(dir, 'sites')
  mkdirSync(sites)
  const model = here('../../simulator/fleets/demo/kestrow-berth-3.yaml')
  const text = readFileSync(model, 'utf8')
  for (let i = 0; i < LOOPS; i++) writeFileSync(join(sites, `loop-${i}.yaml`), text.replace(/^id: .*$/m, `id: loop-${i}`))
  const started = performance.now()
  const args = ['--data', dir, '--sites', sites, '--mqtt-port', '0', '--broker', `mqtt://127.0.0.1:${mosquitto.port}`]
  // Through the flag and not a wrapper: it is this process that is looked at.
  const gateway = spawn(process.execPath, ['--import', 'tsx', here('../soak/gateway-child.ts'), ...args], { stdio: ['ignore', 'pipe', 'inherit'] })
  let said = false
  gateway.stdout.on('data', (d: Buffer) => (said ||= d.toString().includes('ready')))
  await until('the gateway is ready', () => said || gateway.exitCode !== null, 180_000)
  if (!said || gateway.pid === undefined) throw new Error(`the gateway ended with code ${gateway.exitCode}`)
  const startS = (performance.now() - started) / 1000
  const publisher = spawn(process.execPath, ['--import', 'tsx', here('./intake-design-publisher.ts'), String(mosquitto.port), model, String(LOOPS)], {
    stdio: ['ignore', 'inherit', 'inherit'],
  })
  try {
    await wait(WARM_S)
    const before = usage(gateway.pid)
    await wait(MEASURE_S)
    const after = usage(gateway.pid)
    // What was measured must have been work: nearly all that was due is in the history. The last moments are under way.
    const ended = new Promise((resolve) => gateway.once('exit', resolve))
    gateway.kill('SIGKILL')
    await ended
    const history = openEmbedded({ dir, clock: realClock })
    const { sealed, unsealed } = history.stats()
    await history.close()
    const due = ((WARM_S + MEASURE_S) * LOOPS * SIGNALS) / 10
    if (sealed + unsealed < 0.9 * due) throw new Error(`${sealed + unsealed} readings in the history, ${due} were due`)
    const n = `${(LOOPS * SIGNALS).toLocaleString('en-US')} signals, ${((LOOPS * SIGNALS) / 10).toLocaleString('en-US')} readings/s, ${MEASURE_S} s after ${WARM_S}; started in ${startS.toFixed(1)} s, most ${Math.round(after.peakMb)} MB`
    return [
      { bench: 'intake.design.cpuPct', value: (100 * (after.cpuS - before.cpuS)) / MEASURE_S, unit: '% of a core', baseline: null, target: 30, better: 'less', n },
      { bench: 'intake.design.rssMb', value: after.rssMb, unit: 'MB', baseline: null, target: 400, better: 'less', n },
    ]
  } finally {
    publisher.kill('SIGKILL')
    gateway.kill('SIGKILL')
    await mosquitto.remove()
    rmSync(dir, { recursive: true, force: true })
  }
}
