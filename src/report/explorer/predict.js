// Draw, capacity, EER and hours, as src/predict and src/supply compute them from the same fitted candidates.
// at: {mode, level, intake, ambient, moisture}, degC and K; index of mode and of fan level.

function between(v, low, high) { return Math.min(Math.max(v, low), high); }
function beyondBy(v, [low, high]) { return Math.max(v - high, low - v, 0); }

// Little-endian doubles in base 64.
function doubles(text) {
  const bytes = Uint8Array.from(atob(text), (s) => s.charCodeAt(0)), view = new DataView(bytes.buffer);
  return Float64Array.from({ length: bytes.length / 8 }, (_, i) => view.getFloat64(8 * i, true));
}

function makePredictor(model) {
  const { doubts, tested, x: flow } = model;
  const whole = model.intake_ranges.reduce(([a, b], [c, d]) => [Math.min(a, c), Math.max(b, d)], [Infinity, -Infinity]);
  const levels = model.fans.map((_, l) => l);
  const used = levels.filter((l) => tested.some((m) => m[l] > 0));

  function prepared(fit, lift, blower) {
    for (const c of fit.candidates) {
      c.count = Math.max(...c.groups) + 1;
      c.stepped = c.intake === 'terraced' ? model.gaps.filter((_, i) => i < 8 && c.steps & (1 << i)) : [];
      c.cells = [];
      for (let g = 0; g < c.count; g++) {
        for (const l of levels) if (c.groups.some((own, m) => own === g && tested[m][l] > 0)) c.cells.push(g + '/' + l);
      }
      c.triangle = doubles(c.root);
      c.pulled = doubles(c.pulls || '');
      const ramped = c.intake.startsWith('ramp');
      c.rampByGroup = ramped && c.intake.endsWith('by-group');
      const steps = c.intake === 'terraced' ? c.stepped.length : c.rampByGroup ? c.count : ramped ? 1 : 0;
      const last = c.coef.length - (c.ambient ? 1 : 0) - (c.moisture ? 1 : 0);
      c.control = c.coef.slice(last - steps, last);
      c.ramped = ramped;
      c.heldAbove = c.intake.startsWith('ramp-held-above');
      c.knowsControl = ramped || c.intake === 'terraced';
    }
    return { ...fit, lift, blower };
  }
  const draw = prepared(model.draw, model.lift, model.blower_w);
  const capacity = model.capacity && prepared(model.capacity.fit, null, model.fans.map(() => 0));

  // The intake as a ramp sees it, and how far the held side is entered.
  function split(c, intake) {
    const ramped = c.heldAbove ? Math.min(intake, c.corner) : Math.max(intake, c.corner);
    return [ramped, intake - ramped];
  }

  // (intake − reference)² within the tests, its tangent beyond.
  function bend(intake) {
    const t = intake - model.intake_ref;
    const edge = Math.max(Math.min(intake, whole[1]), whole[0]) - model.intake_ref;
    return edge * edge + 2 * edge * (t - edge);
  }

  // The design row; null where the form says nothing about the setting.
  function row(c, at) {
    const out = [], group = c.groups[at.mode], f = flow[at.level];
    const oneOf = (v) => { for (let g = 0; g < c.count; g++) out.push(g === group ? v : 0); };
    const byFlow = !['flat', 'cell', 'additive'].includes(c.setting) || c.intake.endsWith('flow') || c.held === 'by-flow';
    if (byFlow && f === null) return null;
    if (c.setting === 'cell') {
      const own = c.cells.indexOf(group + '/' + at.level);
      if (own < 0) return null;
      for (let i = 0; i < c.cells.length; i++) out.push(i === own ? 1 : 0);
    } else {
      oneOf(1);
      if (c.setting === 'additive') {
        const own = used.indexOf(at.level);
        if (own < 0) return null;
        for (let i = 1; i < used.length; i++) out.push(i === own ? 1 : 0);
      } else if (c.setting === 'power' || c.setting === 'quadratic') {
        out.push(f);
        if (c.setting === 'quadratic') out.push(f * f);
      } else if (c.setting !== 'flat') {
        oneOf(f);
        if (c.setting === 'quadratic-by-group') oneOf(f * f);
      }
    }
    const t = at.intake - model.intake_ref;
    if (c.held === 'by-group') oneOf(t);
    else if (c.held === 'common') out.push(t);
    else if (c.held === 'by-flow') out.push(t, t * f);
    switch (c.intake) {
      case 'none': break;
      case 'common': case 'kinked': out.push(t); break;
      case 'by-group': case 'kinked-by-group': oneOf(t); break;
      case 'by-flow': out.push(t, t * f); break;
      case 'by-group-and-flow': oneOf(t); out.push(t * f); break;
      case 'quadratic': out.push(t, bend(at.intake)); break;
      case 'quadratic-by-group': oneOf(t); out.push(bend(at.intake)); break;
      case 'terraced': for (const [a, b] of c.stepped) out.push(between((at.intake - a) / (b - a), 0, 1)); break;
      default: {
        const along = split(c, at.intake)[0] - model.intake_ref;
        if (c.rampByGroup) oneOf(along);
        else out.push(along);
      }
    }
    if (c.intake.startsWith('kinked')) {
      if (model.kink === null) return null;
      out.push(Math.max(at.intake - model.kink, 0));
    }
    if (c.ambient) out.push(at.ambient - model.ambient_ref);
    if (c.moisture) out.push(at.moisture);
    return out;
  }

  function offset(fit, c, at) {
    const held = c.intake === 'terraced' ? at.intake - model.intake_ref : c.ramped ? split(c, at.intake)[1] : 0;
    const plateau = model.plateau_slope * held;
    if (!c.lift) return plateau;
    const atRef = fit.lift && fit.lift.outlet_at_ref_c[at.mode][at.level];
    if (atRef === null || atRef === undefined) return null;
    const outlet = atRef + fit.lift.slope * (at.intake - model.intake_ref);
    return Math.log(Math.max(at.ambient + fit.lift.approaches_k - outlet, fit.lift.smallest_k)) + plateau;
  }

  function response(fit, c, at) {
    const r = row(c, at), o = offset(fit, c, at);
    if (r === null || o === null) return null;
    let sum = 0;
    for (let i = 0; i < r.length; i++) sum += r[i] * c.coef[i];
    return sum + o;
  }

  function variance(c, r) {
    let sum = 0, k = 0;
    for (let j = 0; j < r.length; j++) {
      let dot = 0;
      for (let i = 0; i <= j; i++) dot += r[i] * c.triangle[k++];
      sum += dot * dot;
    }
    return sum;
  }

  // By how much the mean moves, in root sum of squares, for a unit of each block's effect.
  function pull(c, r) {
    let sum = 0;
    for (let k = 0; k < c.pulled.length; k += r.length) {
      let dot = 0;
      for (let i = 0; i < r.length; i++) dot += r[i] * c.pulled[k + i];
      sum += dot * dot;
    }
    return Math.sqrt(sum);
  }

  // What one candidate says.
  function said(fit, c, at) {
    const r = row(c, at), ln = response(fit, c, at);
    if (r === null || ln === null) return null;
    const compressor = Math.exp(ln), whole_w = compressor + fit.blower[at.level];
    const block = compressor * Math.sqrt(fit.block_variance);
    const run = Math.hypot(c.sd * (c.additive ? fit.typical_w : whole_w), block);
    const step = 0.01;
    const slope = (key) => (response(fit, c, { ...at, [key]: at[key] + step }) - response(fit, c, { ...at, [key]: at[key] - step })) / (2 * step);
    const factor = variance(c, r);
    if (!(isFinite(compressor) && isFinite(factor) && isFinite(run))) return null;
    return {
      draw: whole_w, compressor, mean_sd: Math.hypot(compressor * c.sd * Math.sqrt(factor), block * pull(c, r)), run_sd: run,
      by_intake: compressor * slope('intake'), by_ambient: compressor * slope('ambient'),
    };
  }

  // Instruments' errors common to all runs: an instrument's parts of one kind add with their signs, others in quadrature.
  function shared(at, d) {
    const temperature = [['intake', at.intake, d.by_intake], ['ambient', at.ambient, d.by_ambient]];
    const parts = model.volts === null ? [['power', d.draw, 1]]
      : [['voltage', model.volts, d.draw / model.volts], ['current', d.draw / model.volts, model.volts]];
    const one = (i, [channel, reading, slope]) => i[channel] ? slope * (i.relative * Math.abs(reading) + i.absolute) / i.divisor : 0;
    let together = 0, apart = 0;
    for (const i of model.instruments) {
      let kinds = 0;
      for (const p of parts) kinds += one(i, p) ** 2;
      together += kinds + (one(i, temperature[0]) + one(i, temperature[1])) ** 2;
      apart += kinds + one(i, temperature[0]) ** 2 + one(i, temperature[1]) ** 2;
    }
    return Math.sqrt(Math.max(together, apart));
  }

  function hiddenCorner(c, at, d) {
    if (c.knowsControl) return 0;
    const s = model.set_points;
    const i = s.findIndex((low, k) => k + 1 < s.length && low < at.intake && at.intake < s[k + 1]);
    if (i < 0) return 0;
    const reach = (at.intake - s[i]) * (s[i + 1] - at.intake) / (s[i + 1] - s[i]);
    return model.ramp_chance * doubts.hidden_corner * Math.abs(d.by_intake) * reach;
  }

  // Along a ramp: by how much the logarithm departs from its straight line, and the doubt of it.
  function alongRamp(c, at) {
    const intake = at.intake, slope = c.control[c.rampByGroup ? c.groups[at.mode] : 0];
    const near = Math.max(1 - Math.abs(intake - c.corner) / c.corner_span, 0);
    const [from, to] = c.heldAbove ? [whole[0], c.corner] : [c.corner, whole[1]];
    const along = between((intake - from) / (to - from), 0, 1);
    const rise = slope * (to - from);
    const lift = rise * rise / 8 * 4 * along * (1 - along);
    const even = Math.sqrt(12);
    return [0.5 * lift, Math.hypot(slope * c.corner_span * near / even, lift / even)];
  }

  function heldDoubt(c, k, [low, high]) {
    if (c.held === 'assumed') return doubts.fixed_speed_slope.sd * k;
    return 0.5 * doubts.draw_bend * k * (k + (high - low));
  }

  function terraced(c, at, d, [low, high]) {
    const blower = d.draw - d.compressor;
    const after = (step) => blower + d.compressor * Math.exp(step);
    const drift = (k) => heldDoubt(c, k, [low, high]) * d.compressor;
    for (let i = 0; i < c.stepped.length; i++) {
      const [a, b] = c.stepped[i], step = c.control[i];
      if (a < at.intake && at.intake < b) {
        const share = (at.intake - a) / (b - a);
        return [[1 - share, after(-share * step), drift(at.intake - a)], [share, after((1 - share) * step), drift(b - at.intake)]];
      }
    }
    const beyond = beyondBy(at.intake, [low, high]);
    if (beyond <= 0) return [[1, d.draw, 0]];
    const seen = c.control.filter((s) => s > 0);
    const size = seen.reduce((a, b) => a + b, 0) / Math.max(seen.length, 1);
    const another = doubts.more_steps * (1 - Math.exp(-seen.length / Math.max(high - low, 1) * beyond));
    const stepped = after((at.intake > high ? 1 : -1) * size);
    return [[1 - another, d.draw, drift(beyond)], [another, stepped, Math.hypot(drift(beyond), doubts.step_spread * (stepped - d.draw))]];
  }

  // A candidate's opinions: share, centre, extra standard deviation.
  function beyond(c, at, d, range) {
    if (c.intake === 'terraced') return terraced(c, at, d, range);
    const [low, high] = range, k = beyondBy(at.intake, range);
    if (c.ramped) {
      const held = c.heldAbove ? at.intake > high : at.intake < low;
      if (held) return [[1, d.draw, heldDoubt(c, k, range) * d.compressor]];
      if (k <= 0) {
        const [lift, doubt] = alongRamp(c, at);
        return [[1, d.draw + lift * d.compressor, doubt * d.compressor]];
      }
    }
    if (k <= 0) return [[1, d.draw, 0]];
    const chance = c.ramped ? 1 : model.ramp_chance;
    const bent = 0.5 * doubts.draw_bend * k * (k + (high - low)) * d.compressor;
    const above = at.intake > high;
    const edge = said(draw, c, { ...at, intake: above ? high : low });
    if (edge === null) return [[1, d.draw, bent]];
    const clip = chance * doubts.clipped_share * (above ? 1 : 0.5);
    const clipped = d.draw - d.compressor + edge.compressor * Math.exp(doubts.clipped_slope.mean * k * (above ? 1 : -1));
    return [[1 - clip, d.draw, bent], [clip, clipped, edge.compressor * doubts.clipped_slope.sd * k]];
  }

  const tail = (1 - model.level) / 2;

  // draw_w, mean and run (low, high), and where it stands to the tests; null where no curve says anything.
  function predict(at) {
    const range = model.intake_ranges[at.mode];
    const ambientBeyond = beyondBy(at.ambient, model.ambient_range);
    const means = [], runs = [];
    for (const c of draw.candidates) {
      const d = said(draw, c, at);
      if (d === null) continue;
      const corner = hiddenCorner(c, at, d), common = shared(at, d);
      const ambient = doubts.ambient_per_k * Math.max(ambientBeyond - doubts.inside_slack_k, 0) * d.compressor;
      for (const [share, centre, extra] of beyond(c, at, d, range)) {
        const sd = Math.max(Math.hypot(d.mean_sd, common, corner, extra, ambient), 1e-9 * Math.abs(centre));
        const part = { weight: c.weight * share, centre, scale: sd, dof: c.dof };
        means.push(part);
        runs.push({ ...part, scale: Math.hypot(sd, d.run_sd) });
      }
    }
    const [ml, mh, rl, rh] = [quantile(means, tail), quantile(means, 1 - tail), quantile(runs, tail), quantile(runs, 1 - tail)];
    if (ml === null || rl === null) return null;
    const mean_w = [Math.max(ml, 0), mh];
    const intakeBeyond = beyondBy(at.intake, range), isTested = tested[at.mode][at.level] > 0;
    return {
      draw_w: mean(runs), mean_w, run_w: [Math.min(Math.max(rl, 0), mean_w[0]), Math.max(rh, mh)],
      intake_beyond_k: intakeBeyond, ambient_beyond_k: ambientBeyond, tested: isTested,
      inside: intakeBeyond <= doubts.inside_slack_k && ambientBeyond <= doubts.inside_slack_k && isTested,
    };
  }

  // capacity_w and the interval of its mean; null where the bench gives none.
  function predictCapacity(at) {
    if (!capacity) return null;
    const range = model.intake_ranges[at.mode], k = beyondBy(at.intake, range);
    const far = k * (k + range[1] - range[0]);
    const common = model.capacity.shared[at.mode][at.level];
    const parts = [];
    for (const c of capacity.candidates) {
      const d = said(capacity, c, at);
      if (d === null) continue;
      const bend = Math.max(doubts.height_bend, doubts.rise_bend * (d.by_intake / d.draw) ** 2), bent = Math.exp(-bend * far);
      const unseen = Math.hypot(bend, doubts.capacity_bend) * far;
      const scale = Math.max(Math.hypot(d.mean_sd, d.draw * common, d.draw * unseen), 1e-9 * d.draw);
      parts.push({ weight: c.weight, centre: bent * d.draw, scale: bent * scale, dof: c.dof });
    }
    const low = quantile(parts, tail);
    return low === null ? null : { capacity_w: mean(parts), mean_w: [low, quantile(parts, 1 - tail)] };
  }

  function eer(p, c) {
    if (!p || !c) return null;
    const value = c.capacity_w / p.draw_w;
    const low = Math.hypot(1 - c.mean_w[0] / c.capacity_w, p.mean_w[1] / p.draw_w - 1);
    const high = Math.hypot(c.mean_w[1] / c.capacity_w - 1, 1 - p.mean_w[0] / p.draw_w);
    const mean_w = [Math.max(value * (1 - low), 0), value * (1 + high)];
    return [value, ...mean_w].every(isFinite) ? { value, mean: mean_w } : null;
  }

  // The power at the battery of a draw, the smaller root of P = (V − I R) I; null where no current carries it.
  function atBattery(draw_w, volts) {
    const s = model.supply, converted = draw_w / s.efficiency, wanted = converted + s.idle_w;
    const under = volts * volts - 4 * s.ohm * wanted;
    if (!(under >= 0)) return null;
    const current = 2 * wanted / (volts + Math.sqrt(under)), power = volts * current;
    const left = volts - 2 * current * s.ohm, stretch = left > 0 ? volts / left : Infinity;
    const u = Math.hypot(converted / s.efficiency * s.efficiency_u * stretch, current * current * s.ohm * s.ohm_u * stretch);
    return { power, current, u: isFinite(u) && power > 0 ? u / power : 0 };
  }

  // Hours on a battery {volts, energy_wh, half, usable, peukert}; null where no current carries the draw.
  function hours(p, battery) {
    const here = atBattery(p.draw_w, battery.volts), less = atBattery(p.mean_w[0], battery.volts);
    if (!here || !less) return null;
    const more = atBattery(p.mean_w[1], battery.volts);
    const losses = model.supply.normal * here.u;
    const shorter = Math.max(Math.log((more ? more.power : Infinity) / here.power), 0);
    const longer = less.power > 0 ? Math.max(Math.log(here.power / less.power), 0) : Infinity;
    const factor = battery.peukert && here.current > 0 ? (battery.peukert[1] / here.current) ** (battery.peukert[0] - 1) : 1;
    const value = battery.energy_wh * battery.usable * factor / here.power;
    const half = (side) => Math.hypot(side, battery.half, losses);
    const high = value * Math.exp(half(longer));
    const empty = battery.cutoff_v ? atBattery(p.draw_w, battery.cutoff_v) : null;
    return {
      value, low: value * Math.exp(-half(shorter)), high: isFinite(high) ? high : null,
      battery_w: here.power, current_a: here.current, empty_a: empty ? empty.current : null,
    };
  }

  // A run's draw carried to other conditions along the most credible curve.
  function carried([mode, level, intake, ambient, moisture, watts], to) {
    const best = draw.candidates[0], blower = draw.blower[level];
    const from = said(draw, best, { mode, level, intake, ambient, moisture }), there = said(draw, best, to);
    return from && there ? blower + (watts - blower) * there.compressor / from.compressor : null;
  }

  return { predict, predictCapacity, eer, hours, carried };
}
