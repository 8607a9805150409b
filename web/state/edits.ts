/** Fields changed in a form and not saved yet, in the order they must be made. */

/** By path, as JSON. */
export type Edits<V> = ReadonlyMap<string, V | null>

/** What was changed within the field before goes: the newest word on a whole counts, and it comes after what was said of its parts. */
export function withEdit<V>(edits: Edits<V>, path: readonly string[], value: V | null): Edits<V> {
  const within = (key: string): boolean => {
    const other = JSON.parse(key) as readonly string[]
    return path.every((part, i) => other[i] === part)
  }
  return new Map([...[...edits].filter(([key]) => !within(key)), [JSON.stringify(path), value]])
}

/** As the server takes them. */
export const editList = <V>(edits: Edits<V>): { path: string[]; value: V | null }[] => [...edits].map(([path, value]) => ({ path: JSON.parse(path) as string[], value }))
