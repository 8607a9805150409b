/** A small yard for alarm tests: one loop, readings with plain defaults, a clock moved by hand. */
import type { AlarmDef, Rule } from '../../gateway/alarms/alarm.ts'
import type { Clock } from '../../gateway/clock.ts'
import { keyOf, type Reading } from '../../gateway/site/reading.ts'
import { faultText, readSiteFile } from '../../gateway/site/site-file.ts'
import type { Site } from '../../gateway/site/site.ts'

export const SITE = 'gravel-yard-2'

/** One loop with everything the default alarms can use; `more` is added to, or replaces, the text of its file. */
export function loop(change: (text: string) => string = (t) => t): Site {
  const text = `id: ${SITE}
name: Hallowmere Gravel, yard 2
zone: Europe/London
open: { mon-fri: "06:00-18:00" }
sampleEvery: 30s
reportEvery: 30s
train:
  - { stage: pad, cover: open }
  - { stage: sump, volumeL: 1100 }
  - { stage: filter, rollM: 100 }
  - { stage: treatment, diameterMm: 1400, heightMm: 1500 }
  - { stage: bio, volumeL: 7600 }
  - { stage: bio, volumeL: 7600 }
  - { stage: finished, volumeL: 5700 }
  - { stage: washer, lanceLPerMin: 23 }
equipment:
  blower1: { kind: aerator, serves: [tu, bio1, bio2] }
  acid: { kind: dosing, doses: acid, serves: [tu] }
  hp: { kind: washer }
signals:
  tu.do:
  tu.ph:
  tu.temperature:
  bio1.do:
  sump.level:
  sump.high-high:
  finished.level:
  blower1.run:
  blower1.pressure:
  acid.run:
  hp.run:
  mains.present:
  common.trip:
  filter.roll-end:
  cabinet.temperature:
  panel.auto:
  room.ozone: { in: finished }
  sump.h2s:
  containment.leak:
`
  const r = readSiteFile('yard.yaml', change(text))
  if (!r.ok) throw new Error(r.faults.map(faultText).join('\n'))
  return r.site
}

/** The same loop with an `alarms:` part. */
export const loopWith = (alarms: string): Site => loop((t) => `${t}alarms:\n${alarms}`)

export function reading(signal: string, value: number | null, sourceMs: number, more: Partial<Reading> = {}): Reading {
  return {
    key: keyOf(SITE, signal),
    sourceMs,
    receivedMs: sourceMs,
    value,
    quality: value === null ? 'bad' : 'good',
    sub: value === null ? 'sensor_failure' : 'ok',
    qc: value === null ? 4 : 1,
    clock: 'ok',
    live: true,
    ...more,
  }
}

export function def(rule: Rule, more: Partial<AlarmDef> = {}): AlarmDef {
  return {
    id: `${SITE}/${'signal' in rule ? rule.signal : rule.kind}.test`,
    site: SITE,
    stage: null,
    rule,
    priority: 'medium',
    what: 'Something is wrong',
    cause: 'cause',
    consequence: 'consequence',
    action: ['At the plant: look'],
    confirm: 'it is gone',
    respondWithinMin: 30,
    cautions: [],
    basis: 'test',
    class: 'process',
    severity: 'major',
    latching: false,
    protection: null,
    owner: 'operations',
    reviewedOn: null,
    reviewBy: null,
    version: 1,
    ...more,
  }
}

type LimitFigures = Omit<Extract<Rule, { kind: 'limit' }>, 'kind' | 'signal'>
export const limitDef = (signal: string, figures: LimitFigures, more: Partial<AlarmDef> = {}): AlarmDef => def({ kind: 'limit', signal, ...figures }, more)

export interface HandClock extends Clock {
  /** Both clocks go on. */
  advance(ms: number): void
  /** The wall clock is set, the steady one goes on as before. */
  setWall(ms: number): void
}

export function handClock(startMs = 1_767_600_000_000): HandClock {
  let wall = startMs
  let steady = 5000
  return {
    nowMs: () => wall,
    steadyMs: () => steady,
    advance(ms) {
      wall += ms
      steady += ms
    },
    setWall(ms) {
      wall = ms
    },
  }
}
