/** The text of a site file, with its line numbers and what is wrong beside the line it stands in. */
import { useRef } from 'preact/hooks'
import { useSignal } from '@preact/signals'
import type { Fault } from './setup-editor.tsx'

const LINE_PX = 22

export function SiteText({ text, faults, set }: { text: string; faults: readonly Fault[]; set: (text: string) => void }) {
  const area = useRef<HTMLTextAreaElement>(null)
  const gutter = useRef<HTMLOListElement>(null)
  const count = useSignal(text.split('\n').length)
  const at = new Map(faults.map((f) => [f.line, f]))
  const goTo = (line: number): void => {
    const a = area.current
    if (!a) return
    const from = a.value
      .split('\n')
      .slice(0, line - 1)
      .reduce((n, l) => n + l.length + 1, 0)
    a.focus()
    a.setSelectionRange(from, from + (a.value.split('\n')[line - 1]?.length ?? 0))
    a.scrollTop = Math.max(0, (line - 4) * LINE_PX)
  }
  return (
    <>
      {faults.length > 0 && (
        <ul class="faults" id="text-faults">
          {faults.map((f, i) => (
            <li key={i}>
              <button type="button" class="btn" onClick={() => goTo(f.line)}>
                Line {f.line}
              </button>
              <p>
                {f.field && <b>{f.field}: </b>}
                {f.message}
              </p>
            </li>
          ))}
        </ul>
      )}
      <div class="text">
        <ol ref={gutter} aria-hidden="true">
          {Array.from({ length: count.value }, (_, i) => (
            <li key={i} class={at.has(i + 1) ? 'wrong' : ''} title={at.get(i + 1)?.message}>
              {i + 1}
            </li>
          ))}
        </ol>
        <textarea
          ref={area}
          aria-label="Text of the site file"
          aria-invalid={faults.length > 0}
          aria-describedby={faults.length > 0 ? 'text-faults' : undefined}
          spellcheck={false}
          wrap="off"
          autoCapitalize="none"
          rows={24}
          maxLength={200_000}
          defaultValue={text}
          onInput={(e) => {
            count.value = e.currentTarget.value.split('\n').length
            set(e.currentTarget.value)
          }}
          onScroll={(e) => {
            if (gutter.current) gutter.current.scrollTop = e.currentTarget.scrollTop
          }}
        />
      </div>
    </>
  )
}
