/** How the product itself is doing: troubles in words, brokers, rejected messages by reason, every queue with its bound. */
import { useEffect } from 'preact/hooks'
import { useSignal } from '@preact/signals'
import type { HealthBody } from '../../server/wire.ts'
import { getHealth } from '../link/api.ts'
import { to } from '../router.ts'
import { now } from '../state/store.ts'
import { figure } from '../words/numbers.ts'
import { age, moment, ownZone } from '../words/times.ts'

export function HealthPage() {
  const body = useSignal<HealthBody | null>(null)
  const fault = useSignal('')
  const beat = Math.floor(now.value / 5000)
  useEffect(() => {
    void getHealth().then((r) => {
      if (r.ok) {
        body.value = r.body
        fault.value = ''
      } else fault.value = r.message
    })
  }, [beat])
  document.title = 'Health · Loopkeeper'
  const h = body.value
  return (
    <main id="main">
      <div class="name">
        <h1>Health</h1>
        {h && (
          <p>
            Loopkeeper {h.version}, runs {age(now.value - h.startedMs)}
          </p>
        )}
      </div>
      {fault.value && (
        <p class="refused" role="alert">
          {fault.value}
        </p>
      )}
      {h && <Body h={h} />}
    </main>
  )
}

function Body({ h }: { h: HealthBody }) {
  const zone = ownZone()
  const rejected = Object.entries(h.rejected).filter(([, n]) => n > 0)
  return (
    <>
      {h.troubles.length === 0 ? (
        <p class="nobody">
          <b>Nothing is wrong with Loopkeeper itself.</b>
        </p>
      ) : (
        <ul class="troubles">
          {h.troubles.map((t) => (
            <li key={t}>{t}</li>
          ))}
        </ul>
      )}
      {h.fill && !h.fill.done && (
        <p class="mute">
          The past of the demo fleet is being loaded: <b>{figure(h.fill.pct, 0)} %</b>. Live readings go on beside it.
        </p>
      )}
      <h2 class="sec">Brokers</h2>
      <table class="list stack">
        <tbody>
          {h.brokers.map((b) => (
            <tr key={b.name}>
              <th scope="row">{b.name}</th>
              <td>{b.state}</td>
              <td class="mute">{b.detail}</td>
            </tr>
          ))}
        </tbody>
      </table>
      {h.siteFaults.length > 0 && (
        <>
          <h2 class="sec second">What is wrong in site files</h2>
          <table class="list stack">
            <thead>
              <tr>
                <th scope="col">File</th>
                <th scope="col" class="num">
                  Line
                </th>
                <th scope="col">Field</th>
                <th scope="col">What is wrong</th>
              </tr>
            </thead>
            <tbody>
              {h.siteFaults.map((f, i) => (
                <tr key={i}>
                  <td>{f.file}</td>
                  <td class="num" data-label="line">
                    {f.line}
                  </td>
                  <td>{f.field}</td>
                  <td>{f.message}</td>
                </tr>
              ))}
            </tbody>
          </table>
        </>
      )}
      <h2 class="sec second">Messages not taken, by reason</h2>
      <p class="mute">
        {rejected.length === 0 && 'None since the start. '}What each reason means, and signals in no site file: <a href={to.intake()}>Intake</a>.
      </p>
      {rejected.length > 0 && (
        <p>
          {rejected.map(([code, n]) => (
            <span key={code} class="pill">
              <b>{figure(n, 0)}</b> {code}
            </span>
          ))}
        </p>
      )}
      {h.rejects.length > 0 && (
        <div class="wide">
          <table class="list stack">
            <thead>
              <tr>
                <th scope="col">Last seen</th>
                <th scope="col">Reason</th>
                <th scope="col">Topic</th>
                <th scope="col" class="num">
                  Bytes
                </th>
                <th scope="col">Detail</th>
              </tr>
            </thead>
            <tbody>
              {h.rejects.slice(0, 50).map((r, i) => (
                <tr key={i}>
                  <td class="nowrap">{moment(r.atMs, zone, now.value)}</td>
                  <td>{r.code}</td>
                  <td class="break">{r.topic}</td>
                  <td class="num" data-label="bytes">
                    {figure(r.bytes, 0)}
                  </td>
                  <td class="break">{r.detail}</td>
                </tr>
              ))}
            </tbody>
          </table>
        </div>
      )}
      <h2 class="sec second">Counters and queues</h2>
      <div class="wide">
        <table class="list stack">
          <thead>
            <tr>
              <th scope="col">Name</th>
              <th scope="col" class="num">
                Now
              </th>
              <th scope="col" class="num">
                Bound
              </th>
              <th scope="col">What it counts</th>
            </tr>
          </thead>
          <tbody>
            {h.counters.map((c) => (
              <tr key={c.name}>
                <th scope="row">{c.name}</th>
                <td class="num" data-label="now">
                  {figure(c.value, Number.isInteger(c.value) ? 0 : 1)}
                </td>
                <td class="num" data-label="bound">
                  {c.bound === undefined ? '' : figure(c.bound, 0)}
                </td>
                <td class="mute">{c.what}</td>
              </tr>
            ))}
          </tbody>
        </table>
      </div>
    </>
  )
}
