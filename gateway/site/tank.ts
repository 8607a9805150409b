import type { TankShape } from './site.ts'

/**
 * Litres held up to the overflow by a vertical cylinder with an optional cone below it.
 * Shape in mm; V = pi d^2/4 (h + cone/3). Source: plane geometry.
 */
export function tankVolumeL(shape: TankShape): number {
  return ((Math.PI * shape.diameterMm ** 2) / 4) * (shape.heightMm + shape.coneMm / 3) * 1e-6
}
