import { UNITS } from '../../gateway/site/units.ts'

/** Display text of a UCUM code; a code we do not know shows as it is. */
export const unitText = (code: string): string => UNITS[code]?.text ?? code
export const unitSpoken = (code: string): string => UNITS[code]?.spoken ?? code
