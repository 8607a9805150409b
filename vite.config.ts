import { defineConfig } from 'vite'

/** The page: built from web/ into web/dist, everything self-hosted, nothing inlined, so that a strict content policy holds. */
export default defineConfig({
  root: 'web',
  publicDir: 'public',
  build: {
    outDir: 'dist',
    emptyOutDir: true,
    target: 'es2022',
    assetsInlineLimit: 0,
    modulePreload: { polyfill: false },
    // In one file, so that the setting of web/zod-setup.ts is made before the schemas are: else they try what the policy forbids.
    rolldownOptions: {
      input: { index: 'web/index.html', yard: 'web/yard/yard.ts' },
      output: {
        codeSplitting: { groups: [{ name: 'wire', test: /node_modules\/zod\/|web\/zod-setup|server\/wire/ }] },
        entryFileNames: (c: { name: string }) => (c.name === 'yard' ? 'yard.js' : 'assets/[name]-[hash].js'),
        assetFileNames: (a: { names: string[] }) => (a.names.includes('yard.css') ? 'yard.css' : 'assets/[name]-[hash][extname]'),
      },
    },
  },
})
