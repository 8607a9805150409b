/** What can hurt someone, as bodies. Every list of cautions ends with the closing rule. */
import { cautionsOf, CLOSING_RULE, hazardsOf, type Caution } from '../../gateway/site/cautions.ts'
import type { Site } from '../../gateway/site/site.ts'
import type { CautionBody } from '../wire.ts'

const body = (c: Caution): CautionBody => ({ id: c.id, title: c.title, text: c.text, figures: c.figures, source: c.source })
const CLOSING: CautionBody = { id: 'closing', title: 'Before you act', text: CLOSING_RULE, figures: '' }

const closed = (cautions: readonly Caution[]): CautionBody[] => (cautions.length === 0 ? [] : [...cautions.map(body), CLOSING])

/** Cautions beside one alarm, by the ids its definition names. */
export const alarmCautions = (ids: readonly string[]): CautionBody[] => closed(cautionsOf(ids))

/** What can hurt someone at this loop. */
export const loopHazards = (site: Site): CautionBody[] => closed(hazardsOf(site))
