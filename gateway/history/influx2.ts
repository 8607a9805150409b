/**
 * Sends line protocol to InfluxDB 2.x (`/api/v2/write`) through its client, used as a plain sender: it retries nothing, keeps nothing
 * and has no beat of its own, because left to itself it gives up quietly after a while and drops what waited. Each sending is a
 * writer of its own, so that two under way do not share a buffer; it is flushed, and over when that settles or at our deadline.
 */
import { HttpError, InfluxDB } from '@influxdata/influxdb-client'
import { refusedAnswer, type LineSender, type Sent } from './line-sender.ts'

export interface Influx2Address {
  readonly url: string
  readonly token: string
  readonly org: string
  readonly bucket: string
  /** Longest a call may take, ms. Default 15 s. */
  readonly deadlineMs?: number
}

export function createInflux2Sender(address: Influx2Address): LineSender {
  const deadlineMs = address.deadlineMs ?? 15_000
  const client = new InfluxDB({ url: address.url, token: address.token, timeout: deadlineMs })

  async function write(lines: string): Promise<void> {
    const writer = client.getWriteApi(address.org, address.bucket, 'ms', {
      maxRetries: 0,
      flushInterval: 0,
      batchSize: 1_000_000,
      maxBatchBytes: 500_000_000,
      gzipThreshold: 1_000,
      // The answer is ours to give: without this the client also writes to the console.
      writeFailed: (e) => Promise.reject(e),
    })
    writer.writeRecord(lines.trimEnd())
    await writer.flush()
  }

  return {
    name: `InfluxDB at ${new URL(address.url).host}, bucket ${address.bucket}`,
    async send(lines): Promise<Sent> {
      let deadline: NodeJS.Timeout | undefined
      try {
        const late = new Promise<never>((_, reject) => {
          deadline = setTimeout(() => reject(new Error(`no answer within ${deadlineMs} ms`)), deadlineMs)
        })
        await Promise.race([write(lines), late])
        return { ok: true }
      } catch (e) {
        if (e instanceof HttpError) return refusedAnswer(e.statusCode, e.body ?? e.message)
        return { ok: false, kind: 'down', message: e instanceof Error ? e.message : String(e), dropped: null }
      } finally {
        clearTimeout(deadline)
      }
    },
    close() {
      // Nothing is kept open: every sending ends by itself.
    },
  }
}
