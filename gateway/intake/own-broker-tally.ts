/** What the own broker counts, with the names and sentences of the health page. */
export interface Tally {
  connects: number
  refused: number
  loginFailed: number
  overLimit: number
  wrongSite: number
  held: number
  tooLarge: number
  subscribeRefused: number
  retainDropped: number
  dropped: number
  libraryFailed: number
  slowed: number
  tlsFailed: number
}

export const WORDS: Readonly<Record<keyof Tally, readonly [name: string, what: string]>> = {
  connects: ['brokerConnects', 'Connections made since start. Many of one site: two controllers use the same client id.'],
  refused: ['brokerRefused', 'Connections refused for any reason.'],
  loginFailed: ['brokerLoginFailed', 'Connections with an unknown site or a wrong secret.'],
  overLimit: ['brokerOverLimit', 'Connections refused because of too many connections or too many failed logins.'],
  wrongSite: ['brokerWrongSite', 'Messages and wills for topics that are not the sender’s; acknowledged and dropped.'],
  held: ['brokerHeld', 'Connections ended because the history could not take a message; the site sends it again.'],
  tooLarge: ['brokerTooLarge', 'Connections ended because a packet said it was larger than allowed.'],
  subscribeRefused: ['brokerSubscribeRefused', 'Subscriptions refused: wildcards, other sites, or too many.'],
  retainDropped: ['brokerRetainDropped', 'Messages sent to be retained; taken as ordinary ones.'],
  dropped: ['brokerDropped', 'Sessions ended because their credential was revoked or made anew.'],
  slowed: ['brokerSlowed', 'Messages answered later because their connection sends more than its share; it is read more slowly, nothing is lost.'],
  tlsFailed: ['brokerTlsFailed', 'TLS connections that did not come about: no TLS spoken, or too old, or the certificate not believed.'],
  libraryFailed: ['brokerLibraryFailed', 'Faults inside the broker library that belong to no connection.'],
}
