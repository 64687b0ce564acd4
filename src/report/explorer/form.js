// The form: one answer in words, one figure. Without this script the page shows a table in its place.

function startExplorer() {
  const box = document.getElementById('explorer');
  if (!box) return null;
  const model = JSON.parse(document.getElementById('explorer-model').textContent);
  const predictor = makePredictor(model);
  const field = (name) => document.getElementById('ask-' + name);
  const { units } = model;
  const shown = (c) => units.temperature_scale * c + units.temperature_offset;
  const celsius = (t) => (t - units.temperature_offset) / units.temperature_scale;
  const degrees = (c) => `${shown(c).toFixed(1)}\u00a0${units.temperature}`;
  const percent = `${Number((100 * model.level).toPrecision(4))}\u00a0%`;
  const two = ([a, b], digits, scale = 1) => `${(scale * a).toFixed(digits)} to ${(scale * b).toFixed(digits)}`;

  // Everything of one setting at one place; battery: {volts, energy_wh, half, usable, peukert, cutoff_v} or null.
  function ask({ mode, fan, intake, ambient, battery }) {
    const at = { mode, level: fan, intake, ambient: ambient === undefined ? model.ambient_mean : ambient, moisture: 0 };
    const draw = predictor.predict(at);
    if (!draw) return { at, draw: null, capacity: null, eer: null, hours: null };
    const capacity = predictor.predictCapacity(at);
    return { at, draw, capacity, eer: predictor.eer(draw, capacity), hours: battery ? predictor.hours(draw, battery) : null };
  }

  // A number field's value; null and marked where it is none, or outside its limits.
  function number(name) {
    const input = field(name), value = input.valueAsNumber;
    const fine = isFinite(value) && value >= Number(input.min) && value <= Number(input.max);
    input.setAttribute('aria-invalid', String(!fine));
    return fine ? value : null;
  }

  function battery() {
    const own = field('battery') && field('battery').value === 'own';
    const typed = document.getElementById('ask-typed');
    typed.hidden = own;
    if (field('battery')) field('battery-holds').hidden = !own;
    if (own) return { ...model.supply.battery, words: 'the bench’s battery' };
    const [ah, volts, usable] = ['ah', 'volts', 'usable'].map(number);
    if (ah === null || volts === null || usable === null) return null;
    return { volts, energy_wh: ah * volts, half: 0, usable: usable / 100, peukert: null, cutoff_v: null, words: `${ah} Ah at ${volts} V, ${usable} % of it used` };
  }

  function asked() {
    const intake = number('intake'), ambient = field('ambient') ? number('ambient') : undefined;
    if (intake === null || ambient === null) return null;
    return {
      mode: Number(field('mode').value), fan: Number(field('fan').value), intake: celsius(intake),
      ambient: ambient === undefined ? undefined : celsius(ambient), battery: battery(),
    };
  }

  function setting({ mode, level }) {
    return model.modes[mode] === '' ? `Fan ${model.fans[level]}` : `${model.modes[mode]}, fan ${model.fans[level]}`;
  }

  function place(at) {
    return `${degrees(at.intake)} intake` + (model.ambient_known ? ` and ${degrees(at.ambient)} ambient` : '');
  }

  function sentence(q, a) {
    const { at, draw, capacity, eer, hours } = a;
    let text = `${setting(at)} at ${place(at)} draws ${draw.draw_w.toFixed(1)} W (${percent} interval of the long-run mean ${two(draw.mean_w, 1)} W; of one further run ${two(draw.run_w, 1)} W)`;
    if (capacity) {
      const digits = 0, what = model.capacity.total ? 'total' : 'sensible';
      text += `, delivers ${(units.capacity_scale * capacity.capacity_w).toFixed(digits)} ${units.capacity} of ${what} cooling (${two(capacity.mean_w, digits, units.capacity_scale)})`;
    }
    if (eer) text += `, ${model.capacity.total ? 'an EER' : 'a sensible-only EER'} of ${(units.capacity_scale * eer.value).toFixed(2)} ${units.efficiency} (${two(eer.mean, 2, units.capacity_scale)})`;
    if (hours) {
      const high = hours.high === null ? 'more' : hours.high.toFixed(1);
      text += `, and runs for ${hours.value.toFixed(1)} h (${hours.low.toFixed(1)} to ${high}) on ${q.battery.words}, at ${hours.current_a.toFixed(1)} A`;
    }
    return text + '.';
  }

  function notes(q, { at, draw, hours }) {
    const list = [], k = (d) => `${(units.temperature_scale * d).toFixed(1)} ${units.difference}`;
    const range = ([a, b]) => `${shown(a).toFixed(1)} to ${degrees(b)}`;
    if (draw.inside) list.push('Inside what was tested.');
    if (draw.intake_beyond_k > 0.05) list.push(`${k(draw.intake_beyond_k)} beyond the tested intake range of ${range(model.intake_ranges[at.mode])}; the interval is widened for a curve that bends and a control that clips.`);
    else if (model.control_note) list.push(model.control_note);
    if (model.ambient_known && draw.ambient_beyond_k > 0.05) list.push(`${k(draw.ambient_beyond_k)} beyond the ambient range of the runs, ${range(model.ambient_range)}.`);
    if (!draw.tested) list.push('This setting was never tested; it is read off curves through other settings.');
    if (q.battery && !hours) list.push('No current carries this draw through the stated cable from that voltage.');
    if (hours) {
      const amperes = Math.max(hours.empty_a || 0, hours.current_a), nearly = hours.empty_a > hours.current_a ? ' near empty' : '';
      const limits = [[q.battery.max_a, 'the battery’s stated limit'], [model.supply.cable_max_a, 'the cable’s stated limit'], [q.battery.fuse_a, 'the fuse’s rating, which would blow']];
      for (const [limit, what] of limits) if (limit && amperes > limit) list.push(`Caution: ${amperes.toFixed(1)} A${nearly} is above ${limit.toFixed(1)} A, ${what}.`);
    }
    return list;
  }

  function draw(q, a, told) {
    const { at } = a, range = model.intake_ranges[at.mode];
    const low = Math.min(range[0] - 3, at.intake - 1), high = Math.max(range[1] + 6, at.intake + 1);
    const places = new Set([low, high, range[0], range[1], at.intake]);
    for (let i = 1; i < 36; i++) places.add(low + (high - low) * i / 36);
    const line = [...places].sort((a, b) => a - b)
      .map((t) => ({ t: shown(t), p: predictor.predict({ ...at, intake: t }) })).filter(({ p }) => p);
    const runs = model.runs.filter((r) => r[0] === at.mode && r[1] === at.level)
      .map((r) => [shown(r[2]), predictor.carried(r, { ...at, intake: r[2] })]).filter(([, w]) => w !== null);
    const picture = document.getElementById('ask-picture');
    const width = Math.round(Math.min(Math.max(picture.clientWidth, 300), 800));
    picture.replaceChildren(explorerFigure({
      line, runs, range: range.map(shown), chosen: { t: shown(at.intake), p: a.draw }, unit: units.temperature, told, width,
    }));
    const carried = model.ambient_varied ? `, carried to ${degrees(at.ambient)} ambient` : '';
    const points = runs.length ? `Points: this setting’s runs${carried}. ` : '';
    document.getElementById('ask-caption').textContent = `${setting(at)} against intake air`
      + (model.ambient_known ? ` at ${degrees(at.ambient)} ambient` : '') + '.';
    document.getElementById('ask-key').textContent = `${points}Narrow band: long-run mean; wide band: one further run (${percent}). Ring: the place asked for. Shaded: not tested.`;
  }

  function answer() {
    const words = document.getElementById('ask-answer'), more = document.getElementById('ask-notes');
    const figure = document.getElementById('ask-figure');
    const q = asked();
    if (!q) {
      words.textContent = `Intake${model.ambient_known ? ' and ambient' : ''}: a temperature from ${shown(-40).toFixed(0)} to ${shown(90).toFixed(0)} ${units.temperature}.`;
      more.replaceChildren();
      figure.hidden = true;
      return;
    }
    const a = ask(q);
    if (!a.draw) {
      words.textContent = `No curve says anything about ${setting(a.at)}: it was never tested, and it cannot be read off other settings.`;
      more.replaceChildren();
      figure.hidden = true;
      return;
    }
    words.textContent = sentence(q, a);
    more.replaceChildren(...notes(q, a).map((text) => Object.assign(document.createElement('li'), { textContent: text })));
    figure.hidden = false;
    draw(q, a, words.textContent);
  }

  let waiting = 0;
  const soon = (delay) => { clearTimeout(waiting); waiting = setTimeout(answer, delay); };
  box.hidden = false;
  document.getElementById('explorer-without').hidden = true;
  const form = document.getElementById('ask');
  form.addEventListener('submit', (event) => { event.preventDefault(); soon(0); });
  form.addEventListener('input', () => soon(120));
  form.addEventListener('reset', () => soon(0));
  let width = window.innerWidth;
  window.addEventListener('resize', () => { if (window.innerWidth !== width) { width = window.innerWidth; soon(120); } });
  answer();
  return { ask, battery: model.supply.battery };
}
