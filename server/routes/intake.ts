import { quarantineBody, trafficBody, unassignedBody } from '../wire.ts'
import { row } from './row.ts'

export const intakeRows = [
  row({
    method: 'GET',
    path: '/api/quarantine',
    summary: 'Refused messages by kind: reason code, topic, size, first and last seen, count. What they held is not kept.',
    reply: quarantineBody,
    answer: ({ gateway }) => ({ entries: gateway.quarantine().map((e) => ({ ...e })), totals: { ...gateway.health().rejected } }),
  }),
  row({
    method: 'GET',
    path: '/api/unassigned',
    summary: 'Signals that arrive from known sites and are in no site file, with last value, rate and a guess of what they are.',
    reply: unassignedBody,
    answer: ({ gateway }) => ({ signals: gateway.unassigned().map((s) => ({ ...s, guess: s.guess && { ...s.guess } })) }),
  }),
  row({
    method: 'GET',
    path: '/api/traffic',
    summary: 'What each site sends: messages and bytes, this month against its data plan with a forecast, and how wrong its clock is.',
    reply: trafficBody,
    answer: ({ gateway }) => ({ sites: gateway.traffic().map((t) => ({ ...t, month: t.month && { ...t.month } })) }),
  }),
]
