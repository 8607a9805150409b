/** The text a new site file begins with: a short form, or the file of a loop like it. */
import { editText, type Edit } from './edit.ts'
import { fieldsOf } from './form-fields.ts'

export interface NewSite {
  readonly id: string
  readonly name: string
  readonly zone: string
  readonly area?: string | undefined
  /** Bio tanks of the short form. */
  readonly bioTanks?: number | undefined
}

export type NewSiteResult = { readonly ok: true; readonly text: string } | { readonly ok: false; readonly message: string }

/** Belongs to one yard and not to the plant: a copy leaves it out. */
const OF_THE_YARD = ['customer', 'position', 'altitudeM', 'open', 'staffed', 'yardPhone', 'reach', 'access', 'clock', 'foreign', 'alarms', 'alarmReview', 'state'] as const

/** The usual train with the signals of a small loop, to be changed before it is saved. */
export function newSiteText(n: NewSite): string {
  const bio = Math.min(4, Math.max(1, n.bioTanks ?? 1))
  const tanks = Array.from({ length: bio }, (_, i) => (bio === 1 ? 'bio1' : `bio${i + 1}`))
  return [
    `id: ${n.id}`,
    `name: ${JSON.stringify(n.name)}`,
    ...(n.area ? [`area: ${JSON.stringify(n.area)}`] : []),
    `zone: ${n.zone}`,
    'reportEvery: 60s',
    '',
    '# The stages in the order the water meets them. With volumeL, or diameterMm and heightMm, more can be told.',
    'train:',
    '  - { stage: pad }',
    '  - { stage: sump }',
    '  - { stage: filter }',
    '  - { stage: treatment, retention: carriers }',
    ...tanks.map(() => '  - { stage: bio, retention: carriers }'),
    '  - { stage: finished }',
    '  - { stage: washer }',
    '',
    'equipment:',
    `  blower: { kind: aerator, serves: [tu, ${tanks.join(', ')}] }`,
    '',
    '# What the controller sends, one signal a line.',
    'signals:',
    '  sump.level:',
    '  finished.level:',
    '  tu.do:',
    '  tu.temperature:',
    '  blower.run:',
    '',
  ].join('\n')
}

/** `text`: the file that is copied. What belongs to its yard, its changes of alarms and the dates its protections were proved stay behind. */
export function copiedSiteText(text: string, n: NewSite): NewSiteResult {
  const fields = fieldsOf(text)
  if (!fields) return { ok: false, message: 'The file to copy cannot be read as YAML: put it right first, or choose another' }
  const edits: Edit[] = [
    { path: ['id'], value: n.id },
    { path: ['name'], value: n.name },
    { path: ['zone'], value: n.zone },
    { path: ['area'], value: n.area || null },
    ...OF_THE_YARD.map((f): Edit => ({ path: [f], value: null })),
  ]
  const { protections } = fields
  if (typeof protections === 'object' && protections !== null)
    for (const [id, p] of Object.entries(protections))
      if (typeof p === 'object' && p !== null && 'provedOn' in p) edits.push({ path: ['protections', id, 'provedOn'], value: null })
  const made = editText(text, edits)
  return made.ok ? made : { ok: false, message: `${made.path.join('.')} of the file to copy ${made.message}` }
}
