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
    rollupOptions: {
      input: { index: 'web/index.html', yard: 'web/yard/yard.ts' },
      output: {
        entryFileNames: (c) => (c.name === 'yard' ? 'yard.js' : 'assets/[name]-[hash].js'),
        assetFileNames: (a) => (a.names.includes('yard.css') ? 'yard.css' : 'assets/[name]-[hash][extname]'),
      },
    },
  },
})
