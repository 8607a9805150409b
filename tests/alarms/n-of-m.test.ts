import { expect, test } from 'vitest'
import { N_OF_M_START, nOfMFault, stepNOfM, type NOfM } from '../../gateway/alarms/n-of-m.ts'

const play = (samples: string, c: NOfM): string => {
  let s = N_OF_M_START
  return Array.from(samples)
    .map((x) => {
      s = stepNOfM(s, x === '1', c)
      return s.active ? 'A' : '-'
    })
    .join('')
}

test('ALM-30 it clears only when enough of the last samples are normal', () => {
  expect(play('1110101000', { n: 3, m: 5, clearN: 3, clearM: 3 })).toBe('--AAAAAAA-')
  expect(play('1110101000', { n: 3, m: 5, clearN: 2, clearM: 3 })).toBe('--AAA-A---')
})

test('a single spike among five never raises 4 of 5, and four with one good value between do', () => {
  expect(play('0100000', { n: 4, m: 5, clearN: 5, clearM: 5 })).not.toContain('A')
  expect(play('11011', { n: 4, m: 5, clearN: 5, clearM: 5 })).toBe('----A')
})

test('1 of 1 follows every sample', () => {
  expect(play('0110', { n: 1, m: 1, clearN: 1, clearM: 1 })).toBe('-AA-')
})

test('figures that cannot be met are told in one sentence', () => {
  expect(nOfMFault({ n: 3, m: 5, clearN: 5, clearM: 5 })).toBeNull()
  expect(nOfMFault({ n: 6, m: 5, clearN: 5, clearM: 5 })).toMatch(/6 of 5.*more samples than are looked at/)
  expect(nOfMFault({ n: 1.5, m: 5, clearN: 5, clearM: 5 })).toMatch(/whole numbers/)
})
