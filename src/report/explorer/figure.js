// One figure: draw against intake for the chosen setting, with its bands, its runs, what was not tested, and the chosen point.

function drawing(tag, attributes, text) {
  const node = document.createElementNS('http://www.w3.org/2000/svg', tag);
  for (const [name, value] of Object.entries(attributes)) {
    node.setAttribute(name, typeof value === 'number' ? Math.round(10 * value) / 10 : value);
  }
  if (text !== undefined) node.textContent = text;
  return node;
}

// Round places along an axis, some five of them.
function ticks(low, high, wanted) {
  const rough = (high - low) / wanted, power = 10 ** Math.floor(Math.log10(rough));
  const step = [1, 2, 5, 10].map((m) => m * power).find((s) => s >= 0.999 * rough);
  const out = [];
  for (let i = Math.ceil(low / step - 1e-9); i * step <= high + 1e-9 * step; i++) out.push(i * step);
  return out;
}

// line: [{t, p}], t in shown degrees; runs: [[t, W]]; range: tested intakes; chosen: {t, p}.
function explorerFigure({ line, runs, range, chosen, unit, told, width }) {
  const height = Math.round(Math.min(340, Math.max(280, 0.5 * width)));
  const left = 44, right = 14, top = 26, bottom = 40;
  const low = line[0].t, high = line[line.length - 1].t;
  const most = Math.max(...line.map(({ p }) => Math.min(p.run_w[1], 1.6 * p.draw_w)), chosen.p.mean_w[1], ...runs.map((r) => r[1]));
  const ceiling = 1.16 * most, shownTicks = ticks(0, ceiling, 5);
  const x = (t) => left + (t - low) / (high - low) * (width - left - right);
  const y = (w) => height - bottom - Math.min(Math.max(w, 0), ceiling) / ceiling * (height - top - bottom);
  const svg = drawing('svg', { viewBox: `0 0 ${width} ${height}`, role: 'img', 'aria-label': told, class: 'asked' });
  const put = (tag, attributes, text) => svg.append(drawing(tag, attributes, text));

  for (const [a, b, side] of [[low, range[0], 'left'], [range[1], high, 'right']]) {
    if (!(b > a)) continue;
    put('rect', { x: x(a), y: top, width: x(b) - x(a), height: height - top - bottom, class: 'untested' });
    const edge = side === 'left' ? x(b) : x(a);
    put('line', { x1: edge, x2: edge, y1: top, y2: height - bottom, class: 'edge' });
    if (x(b) - x(a) > 66) {
      put('text', side === 'left' ? { x: x(b) - 5, y: height - bottom - 8, 'text-anchor': 'end' } : { x: x(a) + 5, y: height - bottom - 8 }, 'not tested');
    }
  }
  for (const w of shownTicks) {
    put('line', { x1: left, x2: width - right, y1: y(w), y2: y(w), class: w === 0 ? 'base' : 'grid' });
    put('text', { x: left - 7, y: y(w) + 4, 'text-anchor': 'end' }, String(Number(w.toPrecision(6))));
  }
  for (const t of ticks(low, high, width < 480 ? 4 : 7)) {
    put('line', { x1: x(t), x2: x(t), y1: height - bottom, y2: height - bottom + 5, class: 'base' });
    put('text', { x: x(t), y: height - bottom + 18, 'text-anchor': 'middle' }, String(Number(t.toPrecision(6))));
  }
  put('text', { x: 0, y: 12 }, 'Draw (W)');
  put('text', { x: 0.5 * (left + width - right), y: height - 6, 'text-anchor': 'middle' }, `Intake air (${unit})`);

  const band = (key) => 'M' + line.map(({ t, p }) => `${x(t).toFixed(1)} ${y(p[key][1]).toFixed(1)}`).join('L')
    + 'L' + line.slice().reverse().map(({ t, p }) => `${x(t).toFixed(1)} ${y(p[key][0]).toFixed(1)}`).join('L') + 'Z';
  put('path', { d: band('run_w'), class: 'run' });
  put('path', { d: band('mean_w'), class: 'mean' });
  put('path', { d: 'M' + line.map(({ t, p }) => `${x(t).toFixed(1)} ${y(p.draw_w).toFixed(1)}`).join('L'), class: 'curve' });
  for (const [t, w] of runs) put('circle', { cx: x(t), cy: y(w), r: 3.5, class: 'run-point' });

  const cx = x(chosen.t), cy = y(chosen.p.draw_w);
  put('line', { x1: cx, x2: cx, y1: y(chosen.p.mean_w[0]), y2: y(chosen.p.mean_w[1]), class: 'chosen-bar' });
  put('circle', { cx, cy, r: 6, class: 'chosen' });
  // Above the band where there is room, else below it.
  const upper = y(chosen.p.run_w[1]) - 12, lower = y(chosen.p.run_w[0]) + 22;
  const anchor = cx < left + 30 ? 'start' : cx > width - right - 30 ? 'end' : 'middle';
  put('text', { x: cx, y: upper > top + 6 ? upper : lower, 'text-anchor': anchor, class: 'chosen-words' }, `${chosen.p.draw_w.toFixed(0)} W`);
  return svg;
}
