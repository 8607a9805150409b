import { mkdtempSync, rmSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { openEmbedded, type EmbeddedHistory } from '../../gateway/history/embedded.ts'
import { historyContract, type Subject } from '../history.contract.ts'
import { handClock } from './store.ts'

type Between = (store: EmbeddedHistory, open: () => EmbeddedHistory) => Promise<EmbeddedHistory> | EmbeddedHistory
const nothing: Between = (store) => store
const sealAll: Between = async (store) => {
  await store.sealAll()
  return store
}

/** `before` and `after` run before and after every append and give the store to go on with. */
async function subject(before: Between, after: Between): Promise<Subject> {
  const dir = mkdtempSync(join(tmpdir(), 'loopkeeper-contract-'))
  const clock = handClock(Date.UTC(2026, 0, 5, 6))
  clock.perLookMs = 1
  const open = (): EmbeddedHistory => openEmbedded({ dir, clock, sealAfterMs: 0 })
  let store = open()
  return {
    history: {
      latest: (keys) => store.latest(keys),
      range: (...of) => store.range(...of),
      buckets: (...of) => store.buckets(...of),
      extent: (key) => store.extent(key),
      async append(batch) {
        store = await before(store, open)
        const result = await store.append(batch)
        store = await after(store, open)
        return result
      },
      forgetBefore: (ms) => store.forgetBefore(ms),
      forgetSite: (site) => store.forgetSite(site),
      close: () => store.close(),
    },
    async close() {
      await store.close()
      rmSync(dir, { recursive: true, force: true })
    },
  }
}

historyContract('embedded history, nothing sealed', () => subject(nothing, nothing))

historyContract('embedded history, everything sealed after each batch', () => subject(nothing, sealAll))

historyContract('embedded history, everything but the last batch sealed', () => subject(sealAll, nothing))

historyContract('embedded history, one step of sealing after each batch', () =>
  subject(nothing, (store) => {
    store.sealStep(0)
    return store
  }),
)

historyContract('embedded history, a step of sealing and a restart after each batch', () =>
  subject(nothing, async (store, open) => {
    store.sealStep(0)
    await store.close()
    return open()
  }),
)
