/** Types of prepare.mjs, which is plain JavaScript because it runs before any package is there. */
export const root: string
export function ensureNode(version?: string): void
export function ensurePackages(say: (line: string) => void): Promise<void>
export function ensurePage(say: (line: string) => void): Promise<void>
export function run(say: (line: string) => void, what: string, command: string, args: readonly string[], options?: object): Promise<number>
