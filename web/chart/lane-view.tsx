/** A lane inside a page: makes the chart when it comes, keeps its size, and takes it down when it goes. */
import { useEffect, useRef } from 'preact/hooks'
import { createLane, type Lane, type LaneData } from './lane.ts'

interface Props {
  readonly data: LaneData
  readonly height: number
  readonly cursorKey: string
  readonly onCursor: (ms: number | null) => void
  readonly onZoom: (fromMs: number, toMs: number) => void
}

export function LaneView({ data, height, cursorKey, onCursor, onZoom }: Props) {
  const host = useRef<HTMLDivElement>(null)
  const lane = useRef<Lane | null>(null)
  useEffect(() => {
    const el = host.current
    if (!el) return
    const made = createLane(el, cursorKey, data, { width: Math.max(200, el.clientWidth), height }, onCursor, onZoom)
    lane.current = made
    const watcher = new ResizeObserver(() => made.size(Math.max(200, el.clientWidth), height))
    watcher.observe(el)
    return () => {
      watcher.disconnect()
      made.destroy()
      lane.current = null
    }
  }, [cursorKey, height])
  useEffect(() => lane.current?.set(data), [data])
  return <div class="lane" ref={host} />
}
