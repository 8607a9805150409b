/** The product as compose.yaml and the systemd unit confine it, as far as mount namespaces can show it without either of them. */
import { type ChildProcess, spawn, spawnSync } from 'node:child_process'
import { afterAll, expect, test } from 'vitest'
import { until } from '../product.ts'
import { deployText, repository } from './readme.ts'

/** A root file system that cannot be written, an empty /tmp of 64 MB, a data folder of an ordinary user, the program at /mnt/program. */
const CONFINE = `set -eu
mount -t tmpfs -o mode=755 none /mnt
mkdir /mnt/program
mount --bind "$1" /mnt/program
mount -o remount,ro,bind /mnt/program
mount -t tmpfs -o mode=755 none /var/lib
install -d -m 0700 -o 10001 -g 10001 /var/lib/loopkeeper
install -d -m 0755 -o 10001 -g 10001 /var/lib/loopkeeper/sites /var/lib/backups
echo '{ id: yard-1, name: Yard, zone: Europe/Lisbon, train: [{ stage: sump, volumeL: 1100 }], signals: { sump.level: } }' > /var/lib/loopkeeper/sites/yard-1.yaml
mount -t tmpfs -o mode=1777,size=64m none /tmp
mount -o remount,ro,bind /
cd /mnt/program
shift
exec setpriv --reuid=10001 --regid=10001 --clear-groups --no-new-privs --bounding-set=-all --inh-caps=-all -- "$@"`
const UNSHARE = '/usr/bin/unshare'
const NSENTER = '/usr/bin/nsenter'
const inside = (...command: readonly string[]): readonly string[] => ['-m', '--propagation', 'private', 'sh', '-c', CONFINE, 'confine', repository, ...command]
const able = spawnSync(UNSHARE, inside('true').slice(), { stdio: 'ignore' }).status === 0
const without = able ? '' : ' (skipped: needs root, and leave to make mount namespaces)'

/** The environment of the container file, but for ports. */
function environment(): Record<string, string> {
  const text = deployText('Containerfile').replace(/\\\n/g, ' ')
  const pairs = /^ENV (.*)$/m.exec(text)?.[1]?.trim().split(/\s+/) ?? []
  const env = Object.fromEntries(pairs.map((p) => [p.slice(0, p.indexOf('=')), p.slice(p.indexOf('=') + 1)]))
  return { ...env, LOOPKEEPER_NODE: process.execPath, LOOPKEEPER_HOST: '127.0.0.1', LOOPKEEPER_PORT: '0', LOOPKEEPER_MQTT_PORT: '0', PATH: process.env.PATH ?? '' }
}

let child: ChildProcess | null = null
afterAll(() => void child?.kill('SIGKILL'))

test.skipIf(!able)(
  `with a read-only root file system, an ordinary user and no capability the product starts, answers, makes links and credentials, is backed up, and stops in order${without}`,
  async () => {
    const entry = JSON.parse(/^ENTRYPOINT (\[.*\])$/m.exec(deployText('Containerfile'))?.[1] ?? '[]') as string[]
    const env = environment()
    expect(entry[0]).toBe('node')
    expect(env.LOOPKEEPER_DATA).toBe('/var/lib/loopkeeper')
    const started = spawn(UNSHARE, inside(process.execPath, ...entry.slice(1)), { env, stdio: ['ignore', 'pipe', 'pipe'] })
    child = started
    let text = ''
    for (const stream of [started.stdout, started.stderr]) stream.setEncoding('utf8').on('data', (d: string) => (text += d))
    await until(
      () => text.includes('Ctrl-C stops it.') || started.exitCode !== null,
      60_000,
      () => text,
    )
    const page = /page\s+(http:\S+?)\/$/m.exec(text)?.[1] ?? ''
    expect((await fetch(`${page}/api/ping`)).status, text).toBe(200)

    // Beside it, as `docker compose exec` would: same confinement, root changes to the owner of the data folder.
    const exec = (...command: readonly string[]): { status: number | null; out: string; err: string } => {
      const r = spawnSync(NSENTER, ['-t', String(started.pid), '-m', '--', ...command], { env, encoding: 'utf8', cwd: '/' })
      return { status: r.status, out: r.stdout, err: r.stderr }
    }
    const loopkeeper = (...args: readonly string[]): ReturnType<typeof exec> => exec('/mnt/program/deploy/loopkeeper', ...args)
    expect(exec('touch', '/mnt/program/x', '/usr/x')).toMatchObject({ status: 1, err: expect.stringMatching(/Read-only file system[\s\S]*Read-only file system/) as string })
    expect(loopkeeper('sites', 'credential', 'add', 'yard-1')).toMatchObject({ status: 0, out: expect.stringContaining('password shown only now') as string })
    const link = /\/signin\?once=\S+/.exec(loopkeeper('signin-link').out)?.[0] ?? ''
    expect((await fetch(page + link)).status).toBe(200)
    expect(loopkeeper('backup', '/var/lib/backups')).toMatchObject({ status: 0, err: '' })
    expect(exec('sh', '-c', 'stat -c %u /var/lib/loopkeeper/* /var/lib/backups/* | sort -u').out).toBe('10001\n')

    const ended = new Promise<number | null>((resolve) => started.once('exit', (code) => resolve(code)))
    started.kill('SIGTERM')
    expect(await ended).toBe(0)
  },
)
