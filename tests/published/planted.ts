/** Copies of the source with one figure or sign changed, and the published checks run on the copy: do they see it? */
import { cpSync, mkdirSync, mkdtempSync, readFileSync, rmSync, writeFileSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { dirname, join } from 'node:path'
import { fileURLToPath, pathToFileURL } from 'node:url'
import { judge, type PublishedCase } from './table.ts'

const root = fileURLToPath(new URL('../..', import.meta.url))

interface Planting {
  /** Paths of source, folders or files, that the checks import. */
  readonly source: readonly string[]
  /** Subjects whose checks are run: `oxygen` stands for oxygen-cases.ts and oxygen-values.json. */
  readonly subjects: readonly string[]
  /** Further files of tests/published that they read. */
  readonly besides?: readonly string[]
  /** Checks left out, because they are slow and no planted mistake needs them. */
  readonly leftOut?: (id: string) => boolean
}

export interface Planted {
  /** Ids of the checks that fail on a copy in which `from` (which stands once in `file`) reads `to`; guards are not asked. */
  failing(file: string, from: string, to: string): Promise<readonly string[]>
  remove(): void
}

export function planting(p: Planting): Planted {
  const work = mkdtempSync(join(tmpdir(), 'planted-'))
  let copies = 0
  return {
    async failing(file, from, to) {
      const copy = join(work, String((copies += 1)))
      const tests = p.subjects.flatMap((s) => [`${s}-cases.ts`, `${s}-values.json`]).concat('table.ts', p.besides ?? [])
      for (const path of [...p.source, ...tests.map((t) => `tests/published/${t}`)]) {
        mkdirSync(join(copy, dirname(path)), { recursive: true })
        cpSync(join(root, path), join(copy, path), { recursive: true })
      }
      writeFileSync(join(copy, 'package.json'), '{ "type": "module" }')
      const target = join(copy, file)
      const text = readFileSync(target, 'utf8')
      if (text.split(from).length !== 2) throw new Error(`"${from}" stands ${text.split(from).length - 1} times in ${file}: plant the mistake anew`)
      writeFileSync(
        target,
        text.replace(from, () => to),
      )
      const failed: string[] = []
      for (const s of p.subjects) {
        const cases = (await import(pathToFileURL(join(copy, `tests/published/${s}-cases.ts`)).href)) as Readonly<Record<string, readonly PublishedCase[]>>
        for (const c of cases[`${s}Cases`] ?? []) if (c.guard === undefined && !p.leftOut?.(c.id) && !judge(c).ok) failed.push(c.id)
      }
      return failed
    },
    remove: () => rmSync(work, { recursive: true, force: true }),
  }
}
