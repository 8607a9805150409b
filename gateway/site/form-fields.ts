/** Which fields of a site file the form changes. Everything else is changed in its text. */
import type { Edit } from './edit.ts'
import { parseDocument } from 'yaml'

/** A part is a name, or `*` for any id. */
const FIELDS: readonly (readonly string[])[] = [
  ...['name', 'area', 'customer', 'zone', 'position', 'altitudeM', 'open', 'staffed', 'yardPhone', 'access', 'dataPlanMb', 'sampleEvery', 'reportEvery'].map((f) => [f]),
  ...['drive', 'yard', 'desk'].map((f) => ['reach', f]),
  ...['name', 'range', 'sampleEvery', 'reportEvery'].map((f) => ['signals', '*', f]),
  ['protections', '*'],
  ...['what', 'present', 'provedOn'].map((f) => ['protections', '*', f]),
  ['consumables', '*'],
  ...['name', 'full', 'unit'].map((f) => ['consumables', '*', f]),
]

const fits = (shape: readonly string[], path: readonly string[]): boolean => shape.length === path.length && shape.every((part, i) => part === '*' || part === path[i])

/** The first edit that is none of the form's; null: all are. */
export const strangeEdit = (edits: readonly Edit[]): Edit | null => edits.find((e) => !FIELDS.some((f) => fits(f, e.path))) ?? null

/** The fields as the file writes them, also of a file with faults; null: it cannot be read as YAML. */
export function fieldsOf(text: string): Readonly<Record<string, unknown>> | null {
  const doc = parseDocument(text)
  if (doc.errors.length > 0) return null
  try {
    const raw: unknown = doc.toJS({ maxAliasCount: 20 })
    return typeof raw === 'object' && raw !== null && !Array.isArray(raw) ? { ...raw } : null
  } catch {
    return null
  }
}
