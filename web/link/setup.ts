/** Calls of the setup pages. */
import { credentialsBody, secretBody, setupBody, siteFileBody, siteFileSavedBody, siteFileTriedBody, withdrawnBody } from '../../server/wire.ts'
import type { CredentialsBody, NewSiteRequest, SecretBody, SetupBody, SiteFileBody, SiteFileRequest, SiteFileSavedBody, SiteFileTriedBody } from '../../server/wire.ts'
import { ask, post, type Answer } from './api.ts'

const q = encodeURIComponent
export const getSetup = (): Promise<Answer<SetupBody>> => ask('/api/setup', setupBody)
export const getSiteFile = (file: string): Promise<Answer<SiteFileBody>> => ask(`/api/site-files/${q(file)}`, siteFileBody)
export const draftSite = (n: NewSiteRequest): Promise<Answer<SiteFileTriedBody>> => ask('/api/site-files/draft', siteFileTriedBody, post(n))
export const trySiteFile = (file: string, body: SiteFileRequest): Promise<Answer<SiteFileTriedBody>> => ask(`/api/site-files/${q(file)}/preview`, siteFileTriedBody, post(body))
export const saveSiteFile = (file: string, body: SiteFileRequest & { reason: string }): Promise<Answer<SiteFileSavedBody>> =>
  ask(`/api/site-files/${q(file)}/save`, siteFileSavedBody, post(body))
export const getCredentials = (): Promise<Answer<CredentialsBody>> => ask('/api/credentials', credentialsBody)
export const replaceCredential = (site: string): Promise<Answer<SecretBody>> => ask(`/api/credentials/${q(site)}/replace`, secretBody, post({}))
export const withdrawCredential = (site: string): Promise<Answer<{ site: string }>> => ask(`/api/credentials/${q(site)}/withdraw`, withdrawnBody, post({}))
