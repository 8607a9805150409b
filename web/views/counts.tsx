/** Five marks with figures: the legend and the filter of the fleet at once. */
import { count, type Group } from '../state/fleet.ts'
import { allLoops, lost } from '../state/store.ts'
import { figure } from '../words/numbers.ts'
import { SAY } from '../words/words.ts'
import { Badge, QUIET_LOOP, Ring } from './ring.tsx'

const MARKED = ['A', 'B', 'C', 'W'] as const

export function CountBar({ filter, pick }: { filter: Group | null; pick: (g: Group) => void }) {
  const c = count(allLoops.value)
  const parts = [c.silent > 0 ? `${figure(c.silent, 0)} silent` : '', c.doubtful > 0 ? `${figure(c.doubtful, 0)} with doubtful data` : ''].filter(Boolean)
  return (
    <div class="counts" role="group" aria-label="Loops by what they need. Each loop is counted once, under its worst. Press one to see only those.">
      {MARKED.map((g) => (
        <button key={g} type="button" aria-pressed={filter === g} onClick={() => pick(g)}>
          <Badge mark={{ letter: g, answered: g === 'W', line: g === 'W' ? 'whole' : 'broken' }} />
          <b>{figure(c.groups[g].loops, 0)}</b>
          <span>
            {SAY[g]}
            <br />
            {g !== 'W' && c.groups[g].loops > 0 ? `${figure(c.groups[g].unanswered, 0)} unanswered` : '\u00a0'}
          </span>
        </button>
      ))}
      {c.groups.unsure.loops > 0 && (
        <button type="button" class="quiet" aria-pressed={filter === 'unsure'} onClick={() => pick('unsure')}>
          <Ring loop={{ ...QUIET_LOOP, silent: true, heardMs: null }} nowMs={0} blank />
          <b>{figure(c.groups.unsure.loops, 0)}</b>
          <span>silent or doubtful</span>
        </button>
      )}
      <button type="button" class="quiet" aria-pressed={filter === 'quiet'} onClick={() => pick('quiet')}>
        <Ring loop={QUIET_LOOP} nowMs={0} />
        <b>{figure(c.groups.quiet.loops, 0)}</b>
        <span>{lost.value ? 'quiet, when last heard' : 'quiet'}</span>
      </button>
      <p class="rest">
        {c.total === 1 ? '1 loop.' : `${figure(c.total, 0)} loops, each counted once under its worst.`}
        {parts.length > 0 && <span> {parts.join(', ')}.</span>}
      </p>
    </div>
  )
}
