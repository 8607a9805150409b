/** Every kind of fault and look-alike there is, by name. */
import { airKinds } from './air.ts'
import { biologyKinds } from './biology.ts'
import { instrumentKinds } from './instruments.ts'
import { lookAlikes } from './look-alikes.ts'
import { waterKinds } from './water.ts'

export const KINDS = { ...airKinds, ...biologyKinds, ...waterKinds, ...lookAlikes, ...instrumentKinds }
