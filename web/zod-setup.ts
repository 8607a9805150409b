/**
 * First import of the page: schemas look at this setting while they are made, and would otherwise try to compile code, which
 * the content policy forbids and reports.
 */
import { config } from 'zod'

config({ jitless: true })
