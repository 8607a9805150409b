import type { Page } from 'playwright-core'

/** Opens a one-time link and presses its button under `name`, as a person does. */
export async function signIn(page: Page, link: string, name: string): Promise<void> {
  await page.goto(link)
  await page.getByLabel('Your name').fill(name)
  await page.getByRole('button').click()
  await page.waitForURL((u) => u.pathname === '/')
}
