/** Style sheets are taken in for their effect; the bundler knows what to do with them. */
declare module '*.css'
