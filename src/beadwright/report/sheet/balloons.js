// Where balloons stand: places near each other share one, and no two leaders cross.

/** The graver a finding the smaller; the picked one first. */
export function rank(finding, picked) {
  return (finding.number === picked ? -10 : 0) + { error: 0, warning: 1, note: 2 }[finding.level] + finding.number * 1e-6;
}

/**
 * Findings by their places on the screen, those within reach of a graver one with it.
 * @param {{finding: object, sx: number, sy: number}[]} places
 * @returns {{finding: object, sx: number, sy: number, more: number}[]}
 */
export function gathered(places, reach, picked) {
  const heads = [];
  for (const one of [...places].sort((a, b) => rank(a.finding, picked) - rank(b.finding, picked))) {
    const near = heads.find((head) => Math.hypot(head.sx - one.sx, head.sy - one.sy) < reach);
    if (near) near.more += 1; else heads.push({ ...one, more: 0 });
  }
  return heads;
}

/** Heights in a column, one pitch apart at least, each as near to its own place as the others let it. */
export function columned(places, pitch, top, bottom) {
  const row = [...places].sort((a, b) => a.sy - b.sy);
  let y = -Infinity;
  for (const one of row) { y = Math.max(y + pitch, one.sy, top); one.y = y; }
  let bound = bottom;
  for (const one of row.reverse()) { one.y = Math.min(one.y, bound); bound = one.y - pitch; }
  return row;
}

/** Let leaders to a column at x change their ends until none cross: each change makes all of them together shorter. */
export function uncrossed(row, x) {
  for (let turns = 0, again = true; again && turns < row.length; turns++) {
    again = false;
    for (let i = 0; i < row.length; i++) {
      for (let j = i + 1; j < row.length; j++) {
        if (!leadersCross(row[i], row[j], x)) continue;
        [row[i].y, row[j].y] = [row[j].y, row[i].y];
        again = true;
      }
    }
  }
  return row;
}

export function leadersCross(a, b, x) {
  const side = (p, q, r) => Math.sign((q[0] - p[0]) * (r[1] - p[1]) - (q[1] - p[1]) * (r[0] - p[0]));
  const a0 = [a.sx, a.sy], a1 = [x, a.y], b0 = [b.sx, b.sy], b1 = [x, b.y];
  return side(a0, a1, b0) * side(a0, a1, b1) < 0 && side(b0, b1, a0) * side(b0, b1, a1) < 0;
}
