import { defineConfig } from 'vitest/config'

const browser = ['tests/browser/**/*.test.ts', 'tests/look/**/*.test.ts']
const slow = ['tests/**/*.slow.test.ts']

export default defineConfig({
  test: {
    // Two workers: the machines that run this have two cores, and real servers run beside the tests.
    maxWorkers: 2,
    testTimeout: 30_000,
    hookTimeout: 60_000,
    dangerouslyIgnoreUnhandledErrors: false,
    projects: [
      { test: { name: 'quick', include: ['tests/**/*.test.ts'], exclude: [...browser, ...slow], testTimeout: 30_000, hookTimeout: 60_000 } },
      { test: { name: 'slow', include: slow, testTimeout: 180_000, hookTimeout: 120_000 } },
      { test: { name: 'browser', include: browser, testTimeout: 120_000, hookTimeout: 120_000, fileParallelism: false } },
    ],
  },
})
