/**
 * The open measured data and what other people said of it (`../shared/data`; sources and licences stand in its README). Whole files, no row left
 * out or thinned. Labels are theirs, but for one dip that is named as ours.
 */
import { hasData, readWhole } from '../process/open-data.ts'
import { marks, readTable, type Column, type Series } from './real-data.ts'
import type { KindName } from './real-kinds.ts'

const MIN = 60_000
const QUARTER = 15 * MIN

interface RealSet {
  readonly name: string
  readonly labels: string
  readonly needs: readonly string[]
  /** Minutes apart that the control "every N" may try. */
  readonly tryMin: readonly number[]
  /** Only what these rules tell is scored; absent: all. */
  readonly rules?: readonly string[]
  readonly series: () => readonly Series[]
  /** Why the figures are as they are. */
  readonly why: string
}

const SLOW_MIN = [6, 12, 24, 48, 96, 168, 336, 720].map((h) => 60 * h)
const FAST_MIN = [0.25, 0.5, 1, 2, 5, 10]

const BENCH = ['other_1', 'other_6', 'valve1_0', 'valve1_1', 'valve2_0'].map((n) => `skab-sample/${n}.csv`)
const MACHINE = 'nab/machine_temperature_system_failure.csv'
const WINDOWS = 'nab/labels.json'
const SLUDGE = 'sbmbr/mines_sbmbr_2010_10min_apr10_19.csv'
const ESTUARY = ['swmp/apacp_2012q1.csv', 'swmp/apacp_2012_summer.csv']
const DRIFTED = 'logan/mainstreet_2019_drift.csv'
const BASIN = 'logan/franklinbasin_2020.csv'

const short = (file: string): string => file.replace(/^.*\/|\.csv$/g, '').replaceAll('_', '-')

const PUMP: readonly (readonly [string, string, KindName, number])[] = [
  ['Current', 'current', 'current of a pump', 1],
  ['Pressure', 'pressure', 'pressure of a pump', 1000],
  ['Temperature', 'motor', 'temperature of a motor', 1],
  ['Thermocouple', 'water', 'temperature of pumped water', 1],
  ['Voltage', 'voltage', 'voltage of a pump', 1],
  ['Volume Flow RateRMS', 'flow', 'flow of a pump', 1],
]

function bench(file: string): Series {
  const t = readTable(file, ';')
  const anomaly = t.text('anomaly')
  return {
    name: `bench-${short(file)}`,
    everyMs: 1000,
    times: t.times('datetime'),
    columns: PUMP.map(([column, name, kind, times]): Column => ({ name, kind, values: t.numbers(column, (v) => times * v) })),
    wrong: marks(t.rows.length, (i) => Number(anomaly(i)) === 1),
  }
}

function machine(): Series {
  const t = readTable(MACHINE)
  const times = t.times('timestamp')
  const all = JSON.parse(readWhole(WINDOWS)) as Readonly<Record<string, { readonly windows: readonly (readonly [string, string])[] }>>
  const windows = all['realKnownCause/machine_temperature_system_failure.csv']?.windows.map((w) => w.map((x) => Date.parse(`${x.slice(0, 19).replace(' ', 'T')}Z`)))
  if (!windows?.length) throw new Error(`${WINDOWS} has no windows for ${MACHINE}`)
  return {
    name: 'machine',
    everyMs: 5 * MIN,
    times,
    columns: [{ name: 'temperature', kind: 'temperature of a machine', values: t.numbers('value', (f) => (f - 32) / 1.8) }],
    wrong: marks(times.length, (i) => windows.some(([from = 0, to = 0]) => (times[i] ?? 0) >= from && (times[i] ?? 0) <= to)),
  }
}

function sludge(): Series {
  const t = readTable(SLUDGE)
  const times = t.times('datetime')
  return {
    name: 'sludge',
    everyMs: 10 * MIN,
    times,
    columns: [{ name: 'ph', kind: 'pH of water', values: t.numbers('ras_ph') }],
    wrong: marks(times.length, (i) => (times[i] ?? 0) >= Date.UTC(2010, 3, 17) && (times[i] ?? 0) < Date.UTC(2010, 3, 19)),
  }
}

/** One column of a file whose every column has labels of its own. */
function single(file: string, place: string, column: string, kind: KindName, wrong: (t: ReturnType<typeof readTable>) => (row: number) => number | boolean): Series {
  const t = readTable(file)
  return {
    name: `${place}-${column.replaceAll('_', '-')}`,
    everyMs: QUARTER,
    times: t.times('datetime'),
    columns: [{ name: column.replaceAll('_', '-'), kind, values: t.numbers(column) }],
    wrong: marks(t.rows.length, wrong(t)),
  }
}

const WATER: readonly (readonly [string, KindName])[] = [
  ['temp', 'temperature of water'],
  ['ph', 'pH of water'],
  ['do', 'oxygen of water'],
  ['cond', 'conductivity of water'],
]

function estuary(file: string): readonly Series[] {
  const columns: readonly (readonly [string, KindName])[] = [
    ['temp', 'temperature of water'],
    ['ph', 'pH of water'],
    ['do_mgl', 'oxygen of water'],
    ['turb', 'turbidity of water'],
  ]
  return columns.map(([c, kind]) =>
    single(file, short(file), c, kind, (t) => {
      const flag = t.text(`f_${c}`)
      // 1 suspect, -3 rejected; -2 is a row that did not come, which needs no detector.
      return (i) => /^(1|-3)\b/.test(flag(i))
    }),
  )
}

const coded = (c: string) => (t: ReturnType<typeof readTable>) => {
  const code = t.text(`${c}_qual`)
  return (i: number): boolean => code(i) !== ''
}

/** From here on a correction is more than the accuracy such a probe is sold with (common practice, no source). */
const ACCURACY = { ph: 0.1, do: 0.1, cond: 3.5 } as const

function drifted(c: keyof typeof ACCURACY, kind: KindName): Series {
  return single(DRIFTED, 'main-street-drift', c, kind, (t) => {
    const isCoded = coded(c)(t)
    const raw = t.numbers(c)
    const right = t.numbers(`${c}_cor`)
    return (i) => (isCoded(i) ? 2 : (right[i] ?? -9999) > -9000 && Math.abs((right[i] ?? 0) - (raw[i] ?? 0)) > ACCURACY[c])
  })
}

export const SETS: readonly RealSet[] = [
  {
    name: 'pump bench with a water loop (SKAB): 5 runs of 20 min, 6 signals each',
    labels: 'rows while a valve was being closed or another fault was made; labels are of the bench, not of a signal',
    needs: BENCH,
    tryMin: FAST_MIN,
    series: () => BENCH.map(bench),
    why: 'all five are found within a minute, but half of what is told is in vain: the current of this pump jitters by more than half of the step we asked for (standard deviation 0.28 A), and limits hardly speak. The checks of intake say nothing, as their thresholds are for water that changes in hours. Most runs fail at their tenth minute, so one telling every ten minutes, chosen after the fact, cannot be beaten. Pumped water warms by less than 0.1 degC a minute, so an alarm that it stands still stood nearly all the time, and rows flagged are no use here.',
  },
  {
    name: 'temperature of a machine that failed (NAB)',
    labels: 'four windows of about two days around failures; the delay counts from the start of a window, which lies before the failure',
    needs: [MACHINE, WINDOWS],
    tryMin: SLOW_MIN,
    series: () => [machine()],
    why: 'all four are found, three of them first by the limit and one by the rate. The machine also warms and cools by more than a step within hours when nothing is labelled (starts, stops, load), and the rate rule tells that each time; it would have to be gated by the machine running, and there is no such signal here. A telling early in a window need not be of the failure that lies in its middle.',
  },
  {
    name: 'pH of a small membrane bioreactor (mowater)',
    labels: 'its authors label nothing; the dip of 17 and 18 April is our reading of it, so this is an example and no proof',
    needs: [SLUDGE],
    tryMin: SLOW_MIN,
    series: () => [sludge()],
    why: 'one event, told when pH was 0.6 below the middle of the first part; a limit of that width cannot speak sooner. That one telling a week hits it as well says that one event proves nothing.',
  },
  {
    name: 'estuary with human flags (NERRS by way of SWMPr): temperature, pH, oxygen, turbidity of two quarters',
    labels: 'rows that people rejected (-3) or called suspect (1), run by run',
    needs: ESTUARY,
    tryMin: SLOW_MIN,
    series: () => ESTUARY.flatMap(estuary),
    why: 'most events are single rows of turbidity that people marked one by one within long bouts: our alarm already stands from the first of them, so later ones do not count as found. Tides move oxygen and pH as fast as faults do, and a spike of 0.3 pH on an instrument that writes tenths is three of its steps: rate and checks tell those in vain. Of four scored stretches of days or weeks of wrong oxygen and pH three are found. Barely better than telling always: not good enough to be left alone with.',
  },
  {
    name: 'two river stations with codes of technicians (Logan): temperature, pH, oxygen, conductivity, turbidity',
    labels: 'rows with any code, run by run; most runs are one to four rows of a service visit or of ice',
    needs: [DRIFTED, BASIN],
    tryMin: SLOW_MIN,
    series: () => [
      ...WATER.map(([c, kind]) => single(DRIFTED, 'main-street', c, kind, coded(c))),
      ...WATER.map(([c, kind]) => single(BASIN, 'franklin-basin', c, kind, coded(c))),
      single(BASIN, 'franklin-basin', 'turb', 'turbidity of water', coded('turb')),
    ],
    why: 'service visits of one to four rows are seen at once by the range check where the probe read zero or a stand-in figure, and not where it read something likely. Limits set in winter are passed by spring (temperature and pH rise), and pH above 9 in a clear river on a sunny afternoon is true water that our check for tanks calls suspect. Four of five coded rows of turbidity at the mountain station lie below 50 NTU, so 2 of 42 events are found.',
  },
  {
    name: 'the same river, slow drift that technicians corrected afterwards (Logan, Main Street): pH, oxygen, conductivity',
    labels:
      'rows whose correction is more than the accuracy of the probe (pH 0.1, oxygen 0.1 mg/L, conductivity 3.5 uS/cm); coded rows explain what is told of them and are not asked for; only drift and deviation are scored',
    needs: [DRIFTED],
    rules: ['drift', 'deviation'],
    tryMin: SLOW_MIN,
    series: () => [drifted('ph', 'pH of water'), drifted('do', 'oxygen of water'), drifted('cond', 'conductivity of water')],
    why: 'a correction of 0.1 to 0.2 pH grows over a month below a daily swing of 0.3; the drift rule asks for half a pH in a fortnight, and one that asked for less would tell every change of weather. One signal alone cannot tell a drifting probe from drifting water: that needs a second probe or a reading by hand, which is what the technicians had. All controls that speak are ahead, because drift lasts a fifth of the time and any telling hits it.',
  },
]

export const isHere = (s: Pick<RealSet, 'needs'>): boolean => s.needs.every(hasData)
