/**
 * The whole gateway in a process of its own (Mosquitto, checks, default alarms, durable history, forwarding to InfluxDB 1.x) against the
 * shortest script that parses JSON and writes to the same InfluxDB in batches each second.
 *
 * More is sent than either takes, so the broker's queue feeds both at the rate they can hold; the rate is that of all readings being in
 * InfluxDB, which no backlog can improve. Theirs are acknowledged when parsed, ours when on disk.
 */
import { spawn, type ChildProcess } from 'node:child_process'
import { mkdirSync, mkdtempSync, rmSync, writeFileSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { fileURLToPath } from 'node:url'
import { createInfluxd, influxdPath, withoutInfluxd, type Influxd } from '../history/influxd.ts'
import { createMosquitto, mosquittoPath, withoutMosquitto, type Mosquitto } from '../intake/mosquitto.ts'
import { until } from '../intake/parts.ts'
import { median, type Figure } from './figure.ts'
import { SIGNALS, SITE, siteText } from './intake-load.ts'

type Kind = 'single' | 'batch40'
const COUNT: Readonly<Record<Kind, number>> = { single: 300_000, batch40: 40_000 }
const ROUNDS = 3
const WITHIN_MS = 300_000

const here = (name: string): string => fileURLToPath(new URL(name, import.meta.url))
const run = (file: string, ...args: string[]): ChildProcess => spawn(process.execPath, ['--import', 'tsx', here(file), ...args], { stdio: ['ignore', 'pipe', 'inherit'] })

async function ready(child: ChildProcess): Promise<void> {
  let said = false
  child.stdout?.on('data', (d: Buffer) => (said ||= d.toString().includes('ready')))
  await until('it is ready', () => said || child.exitCode !== null, 60_000)
  if (!said) throw new Error(`it ended with code ${child.exitCode}`)
}

async function end(child: ChildProcess): Promise<void> {
  const ended = new Promise((resolve) => child.once('exit', resolve))
  child.kill('SIGKILL')
  await ended
}

/** Readings a second from the first message sent to the last reading in InfluxDB. */
async function rate(kind: Kind, mosquitto: Mosquitto, influxd: Influxd, database: string): Promise<number> {
  const readings = COUNT[kind] * (kind === 'single' ? 1 : SIGNALS.length)
  const publisher = run('./intake-publisher.ts', String(mosquitto.port), '', '', kind, String(COUNT[kind]))
  let from = 0
  publisher.stdout?.on('data', (d: Buffer) => {
    const took = /done ([\d.]+)/.exec(d.toString())?.[1]
    if (took !== undefined) from = performance.now() - Number(took)
  })
  const counted = async (): Promise<number> => Number(/,(\d+)\]/.exec(JSON.stringify(await influxd.query('SELECT count(v) FROM reading', database)))?.[1] ?? 0)
  const limit = performance.now() + WITHIN_MS
  for (;;) {
    // The count costs the server something, the same for both.
    await new Promise((resolve) => setTimeout(resolve, 500))
    const there = await counted()
    if (there >= readings && from > 0) return (readings * 1000) / (performance.now() - from)
    if (performance.now() > limit) throw new Error(`${there} of ${readings} readings in InfluxDB after ${WITHIN_MS / 1000} s`)
  }
}

export async function againstScript(): Promise<Figure[]> {
  if (mosquittoPath === null || influxdPath === null) {
    console.log(`intake.script.single, intake.script.batch40: not measured${withoutMosquitto}${withoutInfluxd}`)
    return []
  }
  const influxd = await createInfluxd()
  await influxd.start()
  const figures: Figure[] = []
  try {
    for (const kind of ['single', 'batch40'] as const) {
      const rates: { ours: number[]; script: number[] } = { ours: [], script: [] }
      for (let round = 0; round < ROUNDS; round++) {
        for (const who of ['ours', 'script'] as const) {
          const mosquitto = await createMosquitto({ inFlight: 0 })
          await mosquitto.start()
          const database = `${who}_${kind}_${round}`
          await influxd.query(`CREATE DATABASE "${database}"`)
          const dir = mkdtempSync(join(tmpdir(), 'bench-script-'))
          mkdirSync(join(dir, 'sites'))
          writeFileSync(join(dir, 'sites', `${SITE}.yaml`), siteText)
          const flags = ['--data', dir, '--sites', join(dir, 'sites'), '--mqtt-port', '0', '--broker', `mqtt://127.0.0.1:${mosquitto.port}`]
          const child =
            who === 'ours'
              ? run('../soak/gateway-child.ts', ...flags, '--influx-url', influxd.url, '--influx-database', database)
              : run('./intake-script-plain.ts', String(mosquitto.port), influxd.url, database)
          await ready(child)
          rates[who].push(await rate(kind, mosquitto, influxd, database))
          await end(child)
          await mosquitto.remove()
          await influxd.query(`DROP DATABASE "${database}"`)
          rmSync(dir, { recursive: true, force: true })
        }
      }
      figures.push({
        bench: `intake.script.${kind}`,
        value: median(rates.ours),
        unit: 'readings/s',
        baseline: median(rates.script),
        // Ours does more: nothing is asked of it here but to be told.
        target: null,
        better: 'more',
        n: `${ROUNDS} rounds of ${COUNT[kind]} messages, until all are in InfluxDB; ours stored and checked before it is acknowledged; ${Math.round(Math.min(...rates.ours))} to ${Math.round(Math.max(...rates.ours))}`,
      })
    }
  } finally {
    await influxd.remove()
  }
  return figures
}
