import { spawn } from 'node:child_process'
import { existsSync, readFileSync } from 'node:fs'
import { createServer } from 'node:http'
import { join, posix } from 'node:path'
import { expect, test } from 'vitest'
import { deployText, repository } from './readme.ts'

interface Instruction {
  readonly word: string
  readonly rest: string
}

/** Instructions in order, continued lines joined, comments left out. */
function instructions(text: string): readonly Instruction[] {
  return text
    .replace(/^#.*$/gm, '')
    .replace(/\\\n/g, ' ')
    .split('\n')
    .map((l) => l.trim())
    .filter((l) => l !== '')
    .map((l) => ({ word: (l.split(/\s/)[0] ?? '').toUpperCase(), rest: l.replace(/^\S+\s*/, '') }))
}

/** What is wrong with a container file by our rules; empty: nothing. */
function faultsOf(text: string): readonly string[] {
  const all = instructions(text)
  const faults: string[] = []
  const say = (holds: boolean, fault: string): void => void (holds || faults.push(fault))
  const from = all.filter((i) => i.word === 'FROM')
  const stages = from.map((f) => / AS (\S+)$/i.exec(f.rest)?.[1]).filter((s) => s !== undefined)
  const last = all.slice(all.findLastIndex((i) => i.word === 'FROM'))
  const lastOf = (word: string): string => last.findLast((i) => i.word === word)?.rest ?? ''
  say(from.length >= 2, 'one stage only: build and run belong apart')
  for (const f of from) {
    const image = f.rest.split(/\s/)[0] ?? ''
    say(stages.includes(image) || (/:[\w.-]+/.test(image) && !image.endsWith(':latest')), `FROM ${image} names no version`)
  }
  say(/^[1-9]\d*:[1-9]\d*$/.test(lastOf('USER')), `the last USER is "${lastOf('USER')}": a number that is not root's is needed`)
  say(last.findLastIndex((i) => i.word === 'USER') > last.findLastIndex((i) => i.word === 'RUN'), 'a RUN stands after the last USER')
  say(!all.some((i) => i.word === 'ADD'), 'ADD fetches and unpacks: COPY says what it does')
  say(lastOf('HEALTHCHECK').includes('CMD ["'), 'no HEALTHCHECK in exec form')
  say(lastOf('ENTRYPOINT').startsWith('['), 'no ENTRYPOINT in exec form: a shell would not pass signals on')
  say(!last.some((i) => i.word === 'RUN' && /\b(npm|apt-get|curl|wget)\b/.test(i.rest)), 'the last stage installs something')
  say(!all.some((i) => i.word === 'RUN' && /\bnpm (install|i)\b/.test(i.rest)), 'npm install does not keep to the lock file')
  say(!all.some((i) => i.word === 'COPY' && /^\.\/?\s/.test(i.rest)), 'COPY . takes whatever lies about')
  say(!all.some((i) => ['ENV', 'ARG'].includes(i.word) && /(PASSWORD|TOKEN|SECRET|KEY)\s*=/i.test(i.rest)), 'a secret in the image')
  return faults
}

const text = deployText('Containerfile')

test('the container file keeps every rule', () => {
  expect(faultsOf(text)).toEqual([])
})

test.each([
  ['FROM node:24-bookworm-slim', 'FROM node:latest', 'FROM node:latest names no version'],
  ['FROM node:24-bookworm-slim', 'FROM node', 'FROM node names no version'],
  ['USER 10001:10001', 'USER root', 'the last USER is "root"'],
  ['USER 10001:10001\n', '', 'the last USER is ""'],
  ['COPY gateway/ gateway/', 'ADD https://files.example.org/gateway.tar.gz .', 'ADD fetches'],
  ['HEALTHCHECK', '# HEALTHCHECK', 'no HEALTHCHECK'],
  ['ENTRYPOINT ["node", "--import", "tsx", "server/main.ts"]', 'ENTRYPOINT npm start', 'no ENTRYPOINT in exec form'],
  ['COPY gateway/ gateway/', 'COPY . .', 'COPY . takes'],
  ['RUN install', 'RUN apt-get install -y curl && install', 'the last stage installs something'],
])('a container file with %s turned into %s is told off', (was, is, says) => {
  expect(text).toContain(was)
  expect(faultsOf(text.replace(was, is)).join('\n')).toContain(says)
})

test('everything it copies is in the repository, is let through to the builder, and is enough to run', () => {
  const sources = instructions(text)
    .filter((i) => i.word === 'COPY' && !i.rest.startsWith('--from'))
    .flatMap((i) => i.rest.split(/\s+/).slice(0, -1))
  const letThrough = deployText('Containerfile.dockerignore')
    .split('\n')
    .filter((l) => l.startsWith('!'))
    .map((l) => l.slice(1))
  for (const s of sources) {
    expect(existsSync(join(repository, s)), s).toBe(true)
    expect(
      letThrough.some((l) => s === l || s.startsWith(`${l}/`)),
      s,
    ).toBe(true)
  }
  // Every file the entry point reaches by import lies in what is copied.
  const seen = new Set<string>()
  const follow = (file: string): void => {
    if (seen.has(file)) return
    seen.add(file)
    for (const m of readFileSync(join(repository, file), 'utf8').matchAll(/(?:from|import)\s*\(?\s*'(\.[^']+)'/g)) follow(posix.join(posix.dirname(file), m[1] ?? ''))
  }
  for (const entry of ['server/main.ts', 'server/signin-link.ts', 'gateway/sites.ts', 'gateway/history-command.ts']) follow(entry)
  expect(seen.size).toBeGreaterThan(100)
  for (const f of seen)
    expect(
      sources.some((s) => f === s || (s.endsWith('/') && f.startsWith(s))),
      f,
    ).toBe(true)
})

test('its health check is the one of compose.yaml: exit code 0 when the server answers, 1 when it says no, 1 when nobody is there', async () => {
  const check = /HEALTHCHECK[^\n]*\\\n\s*CMD \["node", "-e", "(.*)"\]/.exec(text)?.[1] ?? ''
  expect(deployText('compose.yaml')).toContain(check)
  let status = 200
  const asked: string[] = []
  const server = createServer((request, reply) => {
    asked.push(request.url ?? '')
    reply.writeHead(status).end('{"ok":true}')
  })
  await new Promise<void>((resolve) => server.listen(0, '127.0.0.1', resolve))
  const address = server.address()
  const port = typeof address === 'object' && address !== null ? address.port : 0
  const code = (): Promise<number | null> =>
    new Promise((resolve) => spawn(process.execPath, ['-e', check.replace(':8470', `:${port}`)], { stdio: 'ignore' }).once('exit', (c) => resolve(c)))
  expect(await code()).toBe(0)
  status = 503
  expect(await code()).toBe(1)
  await new Promise((resolve) => server.close(resolve))
  expect(await code()).toBe(1)
  expect(asked).toEqual(['/api/ping', '/api/ping'])
})
