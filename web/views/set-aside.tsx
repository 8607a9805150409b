/** On the alarm page: what lies over the alarm and how to take it off; or how to let it rest, or take it out of service. */
import type { ComponentChildren } from 'preact'
import { useSignal } from '@preact/signals'
import { useRef } from 'preact/hooks'
import type { AlarmBody } from '../../server/wire.ts'
import { getAlarm, inService, outOfService, shelve, unshelve, type Answer } from '../link/api.ts'
import { hidden, restChoices, reviewChoices, setAside, type Choice } from '../state/set-aside.ts'
import { now } from '../state/store.ts'

interface Props {
  readonly alarm: AlarmBody
  readonly onAnswer: (a: AlarmBody) => void
}

export function SetAside({ alarm: a, onAnswer }: Props) {
  const over = setAside(a, now.value)
  return (
    <section class="aside" aria-label="Set aside">
      {over && <Over alarm={a} words={over} onAnswer={onAnswer} />}
      {!a.shelved && <Rest alarm={a} onAnswer={onAnswer} />}
      {!a.outOfService && <Repair alarm={a} onAnswer={onAnswer} />}
    </section>
  )
}

/** Sends one act with the version of the alarm the person saw; says what came of it. */
function useAct(onAnswer: (a: AlarmBody) => void) {
  const sending = useSignal(false)
  const message = useSignal('')
  const send = async (act: () => Promise<Answer<AlarmBody>>): Promise<void> => {
    if (sending.value) return
    sending.value = true
    message.value = ''
    const r = await act()
    sending.value = false
    if (r.ok) return onAnswer(r.body)
    message.value = r.status === 0 ? 'Not sent: no link to the server. Press again when it is back.' : r.message.replace(/^body: /, '')
  }
  return { sending, message, send }
}

function Over({ alarm: a, words, onAnswer }: Props & { words: string }) {
  const { sending, message, send } = useAct(onAnswer)
  const refresh = (act: (v: AlarmBody) => Promise<Answer<AlarmBody>>) => () =>
    void send(async () => {
      const r = await act(a)
      // What somebody else did meanwhile is told, and then shown.
      if (!r.ok && r.status === 409) void getAlarm(a.id).then((g) => g.ok && onAnswer(g.body))
      return r
    })
  return (
    <div class="over">
      <p>
        <b>{words}.</b>
      </p>
      {a.outOfService && (
        <>
          <p>Why: {a.outOfService.reason}</p>
          <p>Meanwhile: {a.outOfService.measure}</p>
        </>
      )}
      {a.suppressed && <p>Why: {a.suppressed.reason}</p>}
      {a.shelved && (
        <p>
          {a.outOfService || a.suppressed ? `Also shelved by ${a.shelved.by}: ` : 'Why: '}
          {a.shelved.reason}
        </p>
      )}
      <p class="mute">{hidden(a)}</p>
      {a.shelved && (
        <button type="button" class="btn" aria-disabled={sending.value} onClick={refresh(unshelve)}>
          Take off the shelf
        </button>
      )}
      {a.outOfService && (
        <button type="button" class="btn" aria-disabled={sending.value} onClick={refresh(inService)}>
          Bring back into service
        </button>
      )}
      {message.value && (
        <p class="refused" role="alert">
          {message.value}
        </p>
      )}
    </div>
  )
}

function Rest({ alarm: a, onAnswer }: Props) {
  return (
    <Form
      alarm={a}
      title="Let it rest"
      button="Shelve"
      onAnswer={onAnswer}
      choices={restChoices}
      when="How long"
      none={a.shelf.words}
      rule={`Its changes are written down and told to nobody until then. ${a.shelf.words}`}
      act={(seen, untilMs, text, tick) => shelve(seen, { untilMs, reason: text('reason'), oneShot: tick })}
    >
      <label>
        Why may it rest
        <input name="reason" required maxLength={500} autocomplete="off" />
      </label>
      <label class="tick">
        <input type="checkbox" name="tick" /> Back sooner, at the next return to normal
      </label>
    </Form>
  )
}

function Repair({ alarm: a, onAnswer }: Props) {
  return (
    <Form
      alarm={a}
      title="Take out of service"
      button="Take out of service"
      onAnswer={onAnswer}
      choices={(_, nowMs) => reviewChoices(nowMs)}
      when="Look at it again"
      none=""
      rule="For an instrument or machine in repair. It does not come back by itself: somebody brings it back."
      act={(seen, reviewMs, text) => outOfService(seen, { reviewMs, reason: text('reason'), measure: text('measure') })}
    >
      <label>
        Why
        <input name="reason" required maxLength={500} autocomplete="off" />
      </label>
      <label>
        What is done meanwhile in its place
        <input name="measure" required maxLength={500} autocomplete="off" placeholder="Who looks, how often" />
      </label>
    </Form>
  )
}

interface FormProps extends Props {
  readonly title: string
  readonly button: string
  readonly when: string
  readonly rule: string
  /** What is said when there is nothing to choose. */
  readonly none: string
  readonly choices: (a: AlarmBody, nowMs: number) => readonly Choice[]
  readonly act: (seen: AlarmBody, ms: number, text: (name: string) => string, tick: boolean) => Promise<Answer<AlarmBody>>
  readonly children: ComponentChildren
}

/** A form that is folded away. The alarm as it was when it was opened is what the person acts on; choices of time are counted from then. */
function Form({ alarm: a, title, button, when, rule, none, choices, act, onAnswer, children }: FormProps) {
  const seen = useSignal<{ alarm: AlarmBody; atMs: number } | null>(null)
  const form = useRef<HTMLFormElement>(null)
  const { sending, message, send } = useAct((b) => {
    seen.value = null
    onAnswer(b)
  })
  const open = (): void => {
    message.value = ''
    seen.value = seen.value ? null : { alarm: a, atMs: Math.round(now.peek()) }
    // How long it may rest is counted from now: ask afresh.
    if (seen.value) void getAlarm(a.id).then((g) => g.ok && seen.value?.alarm.version === g.body.version && (seen.value = { alarm: g.body, atMs: Math.round(now.peek()) }))
  }
  const given = seen.value
  const list = given ? choices(given.alarm, given.atMs) : []
  const submit = (e: SubmitEvent): void => {
    e.preventDefault()
    if (!form.current || !given) return
    const data = new FormData(form.current)
    const text = (name: string): string => {
      const v = data.get(name)
      return typeof v === 'string' ? v.trim() : ''
    }
    const choice = list[Number(text('when'))]
    if (!choice) return
    void send(async () => {
      const r = await act(given.alarm, choice.untilMs, text, data.get('tick') !== null)
      // What somebody else did meanwhile is told; the next press is upon the alarm as it is now.
      if (!r.ok && r.status === 409)
        void getAlarm(a.id).then((g) => {
          if (!g.ok) return
          onAnswer(g.body)
          if (seen.value) seen.value = { ...seen.value, alarm: g.body }
        })
      return r
    })
  }
  return (
    <div class="fold">
      <button type="button" class="btn" aria-expanded={given !== null} onClick={open}>
        {title}
      </button>
      {given && list.length === 0 && <p class="refused">{none}</p>}
      {given && list.length > 0 && (
        <form class="form" ref={form} onSubmit={submit} aria-label={title}>
          <p class="mute">{rule}</p>
          {children}
          <label>
            {when}
            <select name="when">
              {list.map((c, i) => (
                <option key={c.words} value={i}>
                  {c.words}
                </option>
              ))}
            </select>
          </label>
          <button type="submit" class="btn" aria-disabled={sending.value}>
            {sending.value ? 'Not sent yet, trying' : button}
          </button>
        </form>
      )}
      {message.value && (
        <p class="refused" role="alert">
          {message.value}
        </p>
      )}
    </div>
  )
}
