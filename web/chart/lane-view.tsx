/** A lane inside a page: makes the chart when it comes, keeps its size and its cursor, and takes it down when it goes. */
import { effect, type Signal } from '@preact/signals'
import { useEffect, useRef } from 'preact/hooks'
import type { LaneData } from './lane-data.ts'
import { createLane, type Lane } from './lane.ts'

interface Props {
  readonly data: LaneData
  readonly height: number
  /** Time of the cursor in ms, shared by all lanes. */
  readonly cursor: Signal<number | null>
  readonly onZoom: (fromMs: number, toMs: number) => void
}

export function LaneView({ data, height, cursor, onZoom }: Props) {
  const host = useRef<HTMLDivElement>(null)
  const lane = useRef<Lane | null>(null)
  const zoom = useRef(onZoom)
  zoom.current = onZoom
  useEffect(() => {
    const el = host.current
    if (!el) return
    const width = (): number => Math.max(160, el.clientWidth)
    const made = createLane(
      el,
      data,
      { width: width(), height },
      (ms) => (cursor.value = ms),
      (a, b) => zoom.current(a, b),
    )
    lane.current = made
    const watcher = new ResizeObserver(() => made.size(width(), height))
    watcher.observe(el)
    const follow = effect(() => made.cursor(cursor.value))
    return () => {
      follow()
      watcher.disconnect()
      made.destroy()
      lane.current = null
    }
  }, [height, cursor])
  useEffect(() => lane.current?.set(data), [data])
  return <div class="lane" ref={host} />
}
