/** Refused messages and readings by kind: why, in plain words, what to do, where, how large, how often. What they held is not kept. */
import type { QuarantineBody } from '../../server/wire.ts'
import { now } from '../state/store.ts'
import { figure } from '../words/numbers.ts'
import { moment, ownZone } from '../words/times.ts'

export function Rejects({ body }: { body: QuarantineBody }) {
  const zone = ownZone()
  return (
    <section aria-labelledby="rejects">
      <h2 class="sec" id="rejects">
        Not taken
      </h2>
      {body.entries.length === 0 ? (
        <p class="nobody">Everything that arrived since the start was taken.</p>
      ) : (
        <table class="list stack tall">
          <thead>
            <tr>
              <th scope="col">Why</th>
              <th scope="col">Topic</th>
              <th scope="col" class="num">
                Bytes
              </th>
              <th scope="col" class="num">
                Times
              </th>
              <th scope="col">First</th>
              <th scope="col">Last</th>
            </tr>
          </thead>
          <tbody>
            {body.entries.map((e) => (
              <tr key={`${e.code} ${e.pattern}`}>
                <td class="why-not">
                  <b class="block strong">{e.means}</b>
                  <span class="block break">
                    {e.code}, last: {e.detail}
                  </span>
                  <span class="block mute">{e.todo}</span>
                </td>
                <td class="break">{e.topic}</td>
                <td class="num" data-label="bytes">
                  {figure(e.bytes, 0)}
                </td>
                <td class="num" data-label="times">
                  {figure(e.count, 0)}
                </td>
                <td class="nowrap" data-label="first">
                  {moment(e.firstMs, zone, now.value)}
                </td>
                <td class="nowrap" data-label="last">
                  {moment(e.lastMs, zone, now.value)}
                </td>
              </tr>
            ))}
          </tbody>
        </table>
      )}
    </section>
  )
}
