import { healthBody } from '../wire.ts'
import { row } from './row.ts'

export const healthRows = [
  row({
    method: 'GET',
    path: '/api/health',
    summary: 'How the product itself is doing: queues with their bounds, counters, rejected messages by reason, broken site files.',
    reply: healthBody,
    answer({ gateway, version, counters, fill }) {
      const h = gateway.health()
      return {
        startedMs: h.startedMs,
        nowMs: h.nowMs,
        version,
        troubles: [...h.troubles],
        counters: [...h.counters, ...counters()].map((c) => ({ ...c })),
        rejected: { ...h.rejected },
        rejects: h.rejects.map((r) => ({ ...r })),
        siteFaults: h.siteFaults.map((f) => ({ ...f })),
        brokers: h.brokers.map((b) => ({ ...b })),
        fill: fill() ?? null,
      }
    },
  }),
]
