/** Keys and their ids: known in memory, written with the first reading of a signal. */
import type Database from 'better-sqlite3'
import { MOST_SIGNALS } from './file.ts'
import { HistoryRefused } from './refused.ts'

export class Signals {
  private readonly ids = new Map<string, number>()
  /** Key of each id; a forgotten one is undefined. */
  private readonly keys: (string | undefined)[] = []
  private readonly insert: Database.Statement<[number, string]>
  private readonly delete: Database.Statement<[number]>
  private next: number
  /** Which signal came after this one last time. */
  private follower = new Int32Array(1_024)
  private previous = 0
  /** The same for whoever asks for many signals at once. */
  private askedNext = new Int32Array(0)

  constructor(db: Database.Database) {
    this.insert = db.prepare('INSERT INTO signal (id, key) VALUES (?, ?)')
    this.delete = db.prepare('DELETE FROM signal WHERE id = ?')
    for (const [id, text] of db.prepare<[], [number, string]>('SELECT id, key FROM signal ORDER BY id').raw().all()) this.learn(id, JSON.parse(`"${text}"`) as string)
    const used = db.prepare<[], number>("SELECT seq FROM sqlite_sequence WHERE name = 'signal'").pluck().get() ?? 0
    this.next = Math.max(used + 1, this.keys.length, 1)
  }

  get count(): number {
    return this.ids.size
  }

  /** Ids given so far are below this. */
  get end(): number {
    return this.next
  }

  id(key: string): number | undefined {
    return this.ids.get(key)
  }

  /**
   * The same for readings as they come. A loop sends its signals in the same order every time, so the one that followed
   * last time is tried first: comparing two texts costs a fraction of finding one among eighty thousand.
   */
  idInTurn(key: string): number | undefined {
    const guess = this.follower[this.previous]!
    if (guess > 0 && this.keys[guess] === key) {
      this.previous = guess
      return guess
    }
    const id = this.ids.get(key)
    if (id === undefined) return undefined
    this.follower[this.previous] = id
    this.previous = id
    return id
  }

  /** The same for keys that are asked for one after the other, `before` being the id of the one before (0: none): pages ask for a fleet in the same order again and again. */
  idAfter(before: number, key: string): number | undefined {
    if (this.askedNext.length < this.keys.length) {
      const grown = new Int32Array(2 * this.keys.length)
      grown.set(this.askedNext)
      this.askedNext = grown
    }
    const guess = this.askedNext[before]!
    if (guess > 0 && this.keys[guess] === key) return guess
    const id = this.ids.get(key)
    if (id !== undefined) this.askedNext[before] = id
    return id
  }

  key(id: number): string | undefined {
    return this.keys[id]
  }

  entries(): IterableIterator<[string, number]> {
    return this.ids.entries()
  }

  /** Gives a new key its id, in memory only. */
  add(key: string): number {
    if (this.next > MOST_SIGNALS) throw new HistoryRefused('TOO_MANY_SIGNALS', `the history file has known ${MOST_SIGNALS} signals, its limit: start a new data folder`)
    const id = this.next++
    this.learn(id, key)
    return id
  }

  /** Writes a key that was added; inside the transaction of its first reading. */
  write(id: number): void {
    this.insert.run(id, JSON.stringify(this.keys[id]).slice(1, -1))
  }

  /** Takes back the newest `count` additions. */
  undo(count: number): void {
    for (let k = 0; k < count; k++) this.unlearn(--this.next)
  }

  /** Takes a signal off the disk; `forget` follows once that is committed. */
  remove(id: number): void {
    this.delete.run(id)
  }

  forget(id: number): void {
    this.unlearn(id)
  }

  private learn(id: number, key: string): void {
    this.ids.set(key, id)
    if (id >= this.follower.length) {
      const grown = new Int32Array(2 * id)
      grown.set(this.follower)
      this.follower = grown
    }
    while (this.keys.length < id) this.keys.push(undefined)
    this.keys[id] = key
  }

  private unlearn(id: number): void {
    const key = this.keys[id]
    if (key !== undefined) this.ids.delete(key)
    this.keys[id] = undefined
  }
}
