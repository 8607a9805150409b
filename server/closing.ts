import type { FastifyInstance } from 'fastify'

/** Closes the server; connections still open after `withinMs` are cut, so that a stop ends whatever the other side does. */
export async function closeInTime(server: FastifyInstance, withinMs: number): Promise<void> {
  const cut = setTimeout(() => server.server.closeAllConnections(), withinMs)
  try {
    await server.close()
  } finally {
    clearTimeout(cut)
  }
}
