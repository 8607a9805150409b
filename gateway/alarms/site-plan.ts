/**
 * What a site is built and reported like, without what is its own alone (name, place, people). Whatever is made from a plan is the same for
 * all sites of that plan and is made once: a fleet of thousands is built to a few of them.
 */
import type { Site } from '../site/site.ts'

/** Plans remembered at once; beyond that they are made again. */
const PLANS = 64

const planOf = (site: Site): Site => ({
  ...site,
  id: '',
  name: '',
  area: '',
  customer: null,
  latitude: null,
  longitude: null,
  staffed: [],
  access: null,
  dataPlanMb: null,
  foreign: [],
})

/** Site files are read into new objects and never changed, so the text of one is written once. */
const texts = new WeakMap<Site, string>()

/** `make` is given the plan and not the site, so nothing it makes can depend on the rest. */
export function perPlan<T>(make: (plan: Site) => T): (site: Site) => T {
  const made = new Map<string, { readonly it: T }>()
  return (site) => {
    const plan = planOf(site)
    let text = texts.get(site)
    if (text === undefined) texts.set(site, (text = JSON.stringify(plan)))
    let one = made.get(text)
    if (!one) {
      if (made.size >= PLANS) made.clear()
      made.set(text, (one = { it: make(plan) }))
    }
    return one.it
  }
}
