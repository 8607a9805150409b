/** The view as a picture: for a file, and for the sheet that is printed. Always light, whatever the page shows. */
import type { RefObject } from 'preact'
import { useEffect } from 'preact/hooks'
import type { LoopDetailBody, SignalBody } from '../../server/wire.ts'
import { paperColours } from '../chart/colours.ts'
import { drawPicture, type Picture } from '../chart/picture.ts'
import { now } from '../state/store.ts'
import { timeTicks } from '../state/time-ticks.ts'
import type { Standing } from '../state/then.ts'
import { thinned, zoneWords, type LanePlan } from '../state/trend.ts'
import { figure } from '../words/numbers.ts'
import { age, dated } from '../words/times.ts'
import { spans } from './trend-bars.tsx'
import { laneHeight, laneOf, type Drawn } from './trend-lane.tsx'

const PLOT_PX = 900

export interface Shown {
  readonly loop: LoopDetailBody
  readonly mine: boolean
  readonly lanes: readonly LanePlan[]
  readonly bars: readonly SignalBody[]
  readonly drawn: Drawn
  readonly stood: readonly Standing[]
  readonly foot: readonly string[]
}

export function pictureOf({ loop, mine, lanes, bars, drawn, stood, foot }: Shown): Picture {
  const { span, beside, besideName, bands } = drawn
  const ink = paperColours()
  const zone = loop.zone
  const width = span.toMs - span.fromMs
  const share = (ms: number): number => Math.max(0, Math.min(1, (ms - span.fromMs) / width))
  const onPaper: Drawn = { ...drawn, ticks: timeTicks(span.fromMs, span.toMs, PLOT_PX, zone) }
  const whose = mine ? 'time of the reader' : 'site time'
  return {
    title: `${loop.area}: ${loop.name}`,
    lines: [
      `${dated(span.fromMs, zone)} to ${dated(span.toMs, zone)}, ${age(width)}; ${whose}, ${zone}, ${zoneWords(span, zone)}`,
      ...(besideName === '' ? [] : [`Thin broken line: ${besideName}`]),
    ],
    alarms: stood
      .slice(0, 6)
      .map((s) => ({ letter: s.letter, text: `${s.what}, ${dated(s.fromMs, zone)}`, from: share(s.fromMs), to: share(s.clearedMs ?? s.endMs ?? span.toMs) })),
    lanes: lanes.map((l) => {
      const data = laneOf(l.signals, onPaper, ink)
      return {
        data,
        height: laneHeight(l.signals),
        keys: l.signals.flatMap((s, i) => {
          const line = data.series[i]
          const band = bands.get(s.id)
          const unit = s.unitText || 'no unit'
          const colour = line?.colour ?? ink.ink
          return [
            { text: s.name, note: band ? `${unit}, usual ${figure(band.low, s.digits)} to ${figure(band.high, s.digits)}` : unit, colour, dash: line?.dash ?? [], width: 2 },
            ...(beside.has(s.id) ? [{ text: besideName, note: unit, colour, dash: [4, 3], width: 1 }] : []),
          ]
        }),
      }
    }),
    bars: bars.map((s) => {
      const h = drawn.trends.get(s.id)
      return { name: s.name, runs: h ? spans(thinned(h, s.reportEveryMs), h.bucketMs, s.reportEveryMs, span) : [] }
    }),
    foot: [...foot, `Loopkeeper, drawn ${dated(now.peek(), zone)}.`],
    zone: zoneWords(span, zone).split(', ').at(-1) ?? '',
    colours: ink,
  }
}

export async function savePicture(shown: Shown): Promise<void> {
  const canvas = await drawPicture(pictureOf(shown))
  const blob = await new Promise<Blob | null>((done) => canvas.toBlob(done, 'image/png'))
  if (!blob) return
  const a = document.createElement('a')
  a.href = URL.createObjectURL(blob)
  a.download = `${shown.loop.id}-${new Date(shown.drawn.span.fromMs).toISOString().slice(0, 16).replaceAll(':', '')}Z.png`
  a.click()
  URL.revokeObjectURL(a.href)
}

/** Puts the picture into `host` when a sheet is about to be printed, and takes it out after. */
export function usePaper(host: RefObject<HTMLElement | null>, shown: Shown): void {
  useEffect(() => {
    const before = (): void => void drawPicture(pictureOf(shown)).then((canvas) => host.current?.replaceChildren(canvas))
    const after = (): void => host.current?.replaceChildren()
    addEventListener('beforeprint', before)
    addEventListener('afterprint', after)
    return () => {
      removeEventListener('beforeprint', before)
      removeEventListener('afterprint', after)
    }
  })
}
