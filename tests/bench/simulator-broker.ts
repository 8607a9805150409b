/** The broker library as it comes, in a process of its own, that takes everything and keeps nothing. Tells its parent the port. */
import { type AddressInfo, createServer } from 'node:net'
import { Aedes } from 'aedes'

const broker = await Aedes.createBroker()
const server = createServer((socket) => broker.handle(socket))
server.listen(0, '127.0.0.1', () => process.send?.((server.address() as AddressInfo).port))
process.on('disconnect', () => process.exit(0))
