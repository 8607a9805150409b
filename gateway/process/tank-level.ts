/**
 * Level to volume and back, for a vertical cylinder, with or without a cone (or a cut cone) below it.
 *
 *        D
 *    |       |   straight part, heightMm
 *    |       |
 *     \     /    coneMm
 *      \_d_/     level 0 is here
 *
 * Percent of level is not percent of volume: half-way up a full cone is one eighth of it. Above the overflow the straight part
 * goes on, because a level signal may read over 100 %.
 * source  plane geometry
 * throws  RangeError for shapes without a diameter, a bottom wider than the top, and levels or volumes below zero
 */
import type { TankShape } from '../site/site.ts'
import { tankVolumeL } from '../site/tank.ts'
import { positive, within } from './range.ts'

const MM3_PER_L = 1e6

/** Litres below a level. bottomMm: diameter of the flat end of the cone, 0 for a pointed one. */
export function volumeOfLevelL(shape: TankShape, levelMm: number, bottomMm = 0): number {
  checkShape(shape, bottomMm)
  positive('level', levelMm, 'mm', true)
  const cone = coneL(shape, Math.min(levelMm, shape.coneMm), bottomMm)
  return cone + Math.max(0, levelMm - shape.coneMm) * litresPerMm(shape)
}

/** Level above the lowest point, mm; inverse of volumeOfLevelL. */
export function levelOfVolumeMm(shape: TankShape, volumeL: number, bottomMm = 0): number {
  checkShape(shape, bottomMm)
  positive('volume', volumeL, 'L', true)
  const full = coneL(shape, shape.coneMm, bottomMm)
  if (volumeL >= full) return shape.coneMm + (volumeL - full) / litresPerMm(shape)
  const taper = shape.diameterMm - bottomMm
  // A cone that does not narrow is a cylinder, and the cube root below would divide by nothing.
  if (taper < 1e-9 * shape.diameterMm) return volumeL / litresPerMm(shape)
  const width = Math.cbrt(bottomMm ** 3 + (12 * volumeL * MM3_PER_L * taper) / (Math.PI * shape.coneMm))
  return ((width - bottomMm) / taper) * shape.coneMm
}

/** Litres at a level signal of `pct` of the whole height (cone and straight part), 0-120 %. */
export const volumeOfPctL = (shape: TankShape, pct: number, bottomMm = 0): number =>
  volumeOfLevelL(shape, (within('level', pct, 0, 120, '%') / 100) * (shape.coneMm + shape.heightMm), bottomMm)

/** Level signal, %, at a volume; inverse of volumeOfPctL. */
export const pctOfVolume = (shape: TankShape, volumeL: number, bottomMm = 0): number => (100 * levelOfVolumeMm(shape, volumeL, bottomMm)) / (shape.coneMm + shape.heightMm)

/** Litres to the overflow, less what is in it; 0 when it is over. */
export const headroomL = (shape: TankShape, levelMm: number, bottomMm = 0): number =>
  Math.max(0, volumeOfLevelL(shape, shape.coneMm + shape.heightMm, bottomMm) - volumeOfLevelL(shape, levelMm, bottomMm))

/** Litres in a millimetre of the straight part. */
const litresPerMm = (shape: TankShape): number => tankVolumeL({ diameterMm: shape.diameterMm, heightMm: 1, coneMm: 0 })

function coneL(shape: TankShape, levelMm: number, bottomMm: number): number {
  if (levelMm === 0) return 0
  const width = bottomMm + ((shape.diameterMm - bottomMm) * levelMm) / shape.coneMm
  return (Math.PI * levelMm * (bottomMm ** 2 + bottomMm * width + width ** 2)) / 12 / MM3_PER_L
}

function checkShape(shape: TankShape, bottomMm: number): void {
  positive('diameter', shape.diameterMm, 'mm')
  positive('height of the straight part', shape.heightMm, 'mm', true)
  positive('height of the cone', shape.coneMm, 'mm', true)
  within('diameter of the bottom', bottomMm, 0, shape.diameterMm, 'mm')
}
