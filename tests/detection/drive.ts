/**
 * One loop, told through the real path: the simulator's instruments and payload bytes, intake with its checks, the embedded history,
 * vitals, the alarm engine, the journal. The clock is moved by hand, ten seconds at a time, so that what a tick decides is decided within ten
 * seconds of its time; nothing is looked at before it has happened. Left out is the socket: bytes are handed to intake as the own broker hands
 * them, because a socket adds nothing to a decision and tests of their own drive it.
 */
import { mkdirSync, mkdtempSync, rmSync, writeFileSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import type { AlarmEvent, AlarmView, Rule } from '../../gateway/alarms/alarm.ts'
import { isHidden } from '../../gateway/alarms/overlay.ts'
import { compose } from '../../gateway/compose.ts'
import type { StateAnswer } from '../../gateway/port.ts'
import { within, type Site } from '../../gateway/site/site.ts'
import type { Plant } from '../../simulator/process/state.ts'
import type { PlantSpec } from '../../simulator/process/spec.ts'
import { settle, unsettled } from '../../simulator/settled.ts'
import { truthOf, type Truth } from '../../simulator/truth.ts'
import { troubleOf } from './groups.ts'
import type { Annunciation, Label, LoopRun } from './label.ts'
import type { Entry, LoopPlan } from './plan.ts'
import { ringOf, type Ring } from './wake.ts'

const STEP_MS = 10_000
const PREFIX = 'loopkeeper/v1'
/** Someone answers each alarm after this long, and resets what is latched once it is over; common practice, no source. */
const ANSWER_MS = 30 * 60_000
/** A yard that cannot wash because tank and sump are full of rain has water taken away while it is open; one look in so long, a quarter of it to pump 1.8 m3. Common practice, no source. */
const PUMPED_OUT_MS = 2 * 3_600_000
/** What a radio keeps while its link is down. */
const KEPT = 2000

export interface Drive {
  readonly spec: PlantSpec
  /** Site file, as the gateway reads it. */
  readonly file: { readonly name: string; readonly text: string }
  readonly plan: LoopPlan
  readonly fromMs: number
  readonly days: number
  /** Controllers that write more often send one row a minute. */
  readonly thin: boolean
}

export async function drive(o: Drive): Promise<LoopRun> {
  const { site } = o.spec
  const toMs = o.fromMs + o.days * 86_400_000
  const dir = mkdtempSync(join(tmpdir(), 'loopkeeper-detection-'))
  const sites = join(dir, 'sites')
  mkdirSync(sites)
  writeFileSync(join(sites, o.file.name), o.file.text)
  const loop = unsettled(o.spec, o.plan.faults, o.fromMs, 0, { tell: () => undefined })
  await settle(loop, o.fromMs, o.fromMs, () => false)
  const { plant } = loop
  if (o.thin && site.instrumentation === 'rich') loop.block(1, 60_000)

  let nowMs = plant.nowMs
  const clock = { nowMs: () => nowMs, steadyMs: () => nowMs }
  const parts = await compose({ dataDir: dir, synchronous: 'normal', prefix: PREFIX }, clock, sites)
  const { port, ...core } = parts.start({ brokers: () => [], counters: () => [], troubles: () => [] })
  type Told = { -readonly [K in keyof Annunciation]: Annunciation[K] }
  const told = new Map<string, Told>()
  const due: { readonly atMs: number; readonly act: () => Promise<unknown> }[] = []
  const truths = truthsOf(site)
  port.subscribe((e) => {
    if (e.kind === 'alarm') heard(e.event, e.view)
    else if (e.kind === 'wake') rang(e.view, ringOf(e.note, nowMs))
  })

  /** The wake rule says of an alarm that its phone rings, when it is told or later, while nobody has answered it. */
  function rang(view: AlarmView, ring: Ring): void {
    const a = view.occurrence === null ? undefined : told.get(view.occurrence)
    if (!a || ring === 'none' || isHidden(view) || view.acknowledgedMs !== null) return
    if (ring === 'call') a.called = true
    else if (a.wokeMs === null) {
      a.wokeMs = nowMs
      const { def, occurrence } = view
      if (a.toldMs !== nowMs && occurrence !== null) due.push({ atMs: nowMs + ANSWER_MS, act: () => port.acknowledge(def.id, occurrence, 'on call', null) })
    }
  }

  function heard(event: AlarmEvent, view: AlarmView): void {
    const { alarm, occurrence } = event
    const person = (act: 'acknowledge' | 'reset') => (): Promise<unknown> => port[act](alarm, occurrence, 'on call', null)
    if (event.kind === 'raised') {
      const note = port.wake(alarm)
      // What rings is answered soon, at any hour; what waits for the morning, when the desk is staffed again.
      if (event.state === 'unacknowledged') due.push({ atMs: (note && !note.rings ? Math.max(nowMs, note.deskMs) : nowMs) + ANSWER_MS, act: person('acknowledge') })
      if (told.has(occurrence)) return
      told.set(occurrence, {
        site: site.id,
        alarm,
        trouble: troubleOf(alarm),
        priority: view.def.priority,
        wokeMs: null,
        called: false,
        atMs: event.atMs,
        toldMs: event.recordedMs,
        clearedMs: null,
        soInTruth: soInTruth(view.def.rule, truths, plant),
        value: event.value,
      })
      if (note) rang(view, ringOf(note, nowMs))
    } else if (event.kind === 'cleared') {
      const a = told.get(occurrence)
      if (a) a.clearedMs = event.atMs
      if (view.def.latching) due.push({ atMs: nowMs + 2 * ANSWER_MS, act: person('reset') })
    }
  }

  /** Visits and planned work are said on the loop page, which writes visits into the log itself. */
  async function say({ untilMs: end, ...entry }: Entry): Promise<void> {
    const { kind, text = null } = entry
    const untilMs = end ?? null
    const desk = port.stateDesk
    if (kind === 'visit-in') taken(await desk.checkIn(site.id, { untilMs, why: text }, 'technician'))
    // Two visits that overlap end with the first check-out.
    else if (kind === 'visit-out') await desk.checkOut(site.id, { person: null, note: text }, 'technician')
    else if (kind === 'planned-work') taken(await desk.set(site.id, { state: kind, untilMs, why: text }, 'technician'))
    else await port.log.add({ site: site.id, ...entry, kind }, 'technician')
  }

  const kept: string[] = []
  const log = [...o.plan.log]
  const air = o.plan.labels.filter((l) => l.air).map((l) => ({ label: l, atMs: null as number | null }))
  const tank = plant.water.bio[0]
  const topic = `${PREFIX}/${site.id}`
  for (let atMs = Math.ceil(o.fromMs / STEP_MS) * STEP_MS; atMs <= toMs; atMs += STEP_MS) {
    loop.advance(atMs, (payload) => {
      kept.push(payload)
      if (kept.length > KEPT) kept.shift()
    })
    nowMs = atMs
    if (!plant.troubles.linkDown) {
      for (const payload of kept) parts.intake.take({ topic, payload: Buffer.from(payload), receivedMs: nowMs, retained: false, site: site.id, broker: 'own' })
      kept.length = 0
    }
    for (let entry: Entry | undefined = log[0]; entry && entry.atMs <= nowMs; entry = log[0]) {
      log.shift()
      await say(entry)
    }
    if (
      atMs % PUMPED_OUT_MS === 0 &&
      stuckFull(loop.plant) &&
      within(site.open, site.zone, nowMs, true) &&
      !o.plan.labels.some((l) => nowMs >= l.onsetMs && nowMs <= l.endMs + PUMPED_OUT_MS)
    ) {
      loop.faults.push({
        id: `${site.id} pumped out ${nowMs}`,
        kind: 'leak',
        site: site.id,
        at: plant.water.finished.id,
        onsetMs: nowMs,
        endMs: nowMs + PUMPED_OUT_MS / 4,
        size: 240,
      })
      await port.log.add({ site: site.id, atMs: nowMs, kind: 'blowdown', value: 1800, unit: 'L', text: 'finished-water tank and sump were full of rain: pumped out' }, 'yard')
    }
    core.tick()
    for (const a of air) if (a.atMs === null && nowMs >= a.label.onsetMs && nowMs < a.label.endMs && tank && tank.oxygen < 1) a.atMs = nowMs
    for (let i = due.length - 1; i >= 0; i--) {
      const d = due[i]
      if (d && d.atMs <= nowMs) {
        due.splice(i, 1)
        await d.act()
      }
    }
    // Once a minute what has been decided is written down and told; an event carries the time at which it was decided.
    if (atMs % 60_000 === 0) {
      await new Promise<void>((done) => setImmediate(done))
      await parts.lookAfterHistory()
    }
  }
  await new Promise<void>((done) => setImmediate(done))
  const counters = Object.fromEntries(port.health().counters.map((c) => [c.name, c.value]))
  const troubles = port.troubles()
  await parts.stop()
  rmSync(dir, { recursive: true })
  const found = new Map(air.map((a) => [a.label.id, a.atMs]))
  return {
    site: site.id,
    level: site.instrumentation,
    fromMs: o.fromMs,
    toMs,
    reportEveryMs: Math.min(...site.signals.map((s) => s.reportEveryMs)),
    labels: o.plan.labels.map((l): Label => (l.air ? { ...l, noOxygenMs: found.get(l.id) ?? null } : l)),
    told: [...told.values()],
    counters,
    troubles,
  }
}

/** Nothing would ever move again: the transfer waits for room in the finished-water tank, the washer for room in the sump. */
const stuckFull = (p: Plant): boolean => p.control.finishedFull && p.control.washerLocked

function taken(answer: StateAnswer): void {
  if (!answer.ok) throw new Error(answer.message)
}

function truthsOf(site: Site): ReadonlyMap<string, Truth> {
  return new Map(
    site.signals.flatMap((s) => {
      const t = truthOf(site, s)
      return t ? [[s.id, t] as const] : []
    }),
  )
}

/** Is the water, or the contact, really where a simple rule says it is? */
function soInTruth(rule: Rule, truths: ReadonlyMap<string, Truth>, plant: Plant): boolean | null {
  if (rule.kind !== 'limit' && rule.kind !== 'state') return null
  const value = truths.get(rule.signal)?.(plant)
  if (value === undefined || Number.isNaN(value)) return null
  if (rule.kind === 'state') return value === rule.value
  // Within the deadband of its limit it is so: noise and rounding decide there.
  return rule.side === 'high' ? value > rule.limit - rule.deadband : value < rule.limit + rule.deadband
}
