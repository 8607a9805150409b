/** The broker library as it comes, in a process of its own, on the port given: the baseline of the own broker. */
import { createServer } from 'node:net'
import { Aedes } from 'aedes'

const broker = await Aedes.createBroker()
createServer((socket) => broker.handle(socket)).listen(Number(process.argv[2]), '127.0.0.1', () => console.log('ready'))
