/** The commands of deploy/README.md, and a folder in which they run as if it were the root of a server. */
import { spawnSync } from 'node:child_process'
import { mkdirSync, mkdtempSync, readFileSync, rmSync, symlinkSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { fileURLToPath } from 'node:url'

export const repository = fileURLToPath(new URL('../..', import.meta.url)).replace(/\/$/, '')
export const deploy = (name: string): string => join(repository, 'deploy', name)
export const deployText = (name: string): string => readFileSync(deploy(name), 'utf8')

export interface Block {
  /** null: it is shown, and cannot run here. */
  readonly name: string | null
  readonly text: string
}

/** The `sh` blocks of deploy/README.md, in order. */
export function blocksOf(markdown: string): readonly Block[] {
  return [...markdown.matchAll(/(?:<!-- run: ([\w-]+) -->\n)?```sh\n([\s\S]*?)\n```/g)].map((m) => ({ name: m[1] ?? null, text: m[2] ?? '' }))
}

export interface Ran {
  readonly status: number | null
  readonly out: string
  readonly err: string
}

export interface Server {
  readonly dir: string
  /** Path of something on the server: `at('/etc/mosquitto')`. */
  at(path: string): string
  /** Runs the named block of the README; `instead` replaces pieces of it, each of which must be there. */
  run(name: string, instead?: Readonly<Record<string, string>>, cwd?: string): Ran
  /** Runs a line of shell as the README's blocks are run. */
  sh(text: string, cwd?: string): Ran
  remove(): void
}

/** An empty server: the folders the README makes, and `loopkeeper` on the path. Absolute paths of a block fall into its folder. */
export function makeServer(): Server {
  const dir = mkdtempSync(join(tmpdir(), 'loopkeeper-server-'))
  const at = (path: string): string => join(dir, path)
  for (const d of ['/etc/loopkeeper', '/etc/mosquitto/loopkeeper', '/var/lib/loopkeeper/sites', '/var/lib/loopkeeper-backups', '/bin', '/trusted'])
    mkdirSync(at(d), { recursive: true })
  symlinkSync(deploy('loopkeeper'), at('/bin/loopkeeper'))
  const env = {
    PATH: `${at('/bin')}:/usr/sbin:${process.env.PATH ?? ''}`,
    TMPDIR: tmpdir(),
    LOOPKEEPER_DATA: at('/var/lib/loopkeeper'),
    LOOPKEEPER_NODE: process.execPath,
  }
  const sh = (text: string, cwd = at('/trusted')): Ran => {
    const there = text.replaceAll('/opt/loopkeeper/current', repository).replace(/(?<![\w./])\/(etc|var\/lib)\//g, `${dir}/$1/`)
    const r = spawnSync('sh', ['-eu', '-c', there], { cwd, env, encoding: 'utf8' })
    return { status: r.status, out: r.stdout, err: r.stderr }
  }
  return {
    dir,
    at,
    sh,
    run(name, instead = {}, cwd) {
      const found = blocksOf(deployText('README.md')).filter((b) => b.name === name)
      if (found.length !== 1) throw new Error(`deploy/README.md has ${found.length} blocks named ${name}`)
      let text = found[0]?.text ?? ''
      for (const [was, is] of Object.entries(instead)) {
        if (!text.includes(was)) throw new Error(`"${was}" is not in the block ${name} of deploy/README.md`)
        text = text.replaceAll(was, is)
      }
      return sh(text, cwd)
    },
    remove: () => rmSync(dir, { recursive: true, force: true }),
  }
}
