/** Something a person must put right before the product can start; `exit` is the exit code. */
export class StartFault extends Error {
  readonly exit: number
  constructor(exit: number, message: string) {
    super(message)
    this.exit = exit
  }
}
