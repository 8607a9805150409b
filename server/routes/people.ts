import { z } from 'zod'
import { personBody } from '../wire.ts'
import { row } from './row.ts'

export const peopleRows = [
  row({
    method: 'GET',
    path: '/api/me',
    summary: 'Who is signed in here.',
    reply: personBody,
    answer: (_, { person }) => ({ name: person.name, via: person.via, untilMs: person.untilMs }),
  }),
  row({
    method: 'POST',
    path: '/api/signout',
    summary: 'End this session; its live connections are closed. A token stays as it is.',
    reply: z.object({ ok: z.literal(true) }),
    answer({ access }, { person, setHeader }) {
      if (person.via === 'session') setHeader('set-cookie', access.signOut(person))
      return { ok: true as const }
    },
  }),
]
