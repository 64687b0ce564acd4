// What an accessible page needs, looked at as it is shown. Gives a list of what is wrong.
(() => {
  const wrong = [], say = (what, node) => wrong.push(`${what}: ${(node.outerHTML || node.textContent || '').slice(0, 160)}`);
  const shown = (node) => node.checkVisibility({ visibilityProperty: true, opacityProperty: true });

  if (!document.documentElement.lang) say('no language', document.documentElement);
  if (!document.title.trim()) wrong.push('no title');
  if (document.querySelectorAll('main').length !== 1) wrong.push('not one main part');
  if (document.querySelectorAll('h1').length !== 1) wrong.push('not one first heading');
  let last = 0;
  for (const h of document.querySelectorAll('h1,h2,h3,h4,h5,h6')) {
    const level = Number(h.tagName[1]);
    if (level > last + 1) say('a heading skips a level', h);
    if (!h.textContent.trim()) say('an empty heading', h);
    last = level;
  }
  const ids = new Set();
  for (const node of document.querySelectorAll('[id]')) {
    if (ids.has(node.id)) say('an id twice', node);
    ids.add(node.id);
  }
  for (const key of ['aria-labelledby', 'aria-describedby', 'for']) {
    for (const node of document.querySelectorAll(`[${key}]`)) {
      for (const id of node.getAttribute(key).split(/\s+/)) if (!ids.has(id)) say(`${key} names nothing`, node);
    }
  }
  for (const input of document.querySelectorAll('input,select,textarea')) {
    if (![...input.labels].some((l) => l.textContent.trim())) say('a field without a label', input);
  }
  for (const button of document.querySelectorAll('button,a[href]')) {
    if (!button.textContent.trim() && !button.getAttribute('aria-label')) say('a control without a name', button);
  }
  for (const table of document.querySelectorAll('table')) {
    if (!table.caption || !table.caption.textContent.trim()) say('a table without a caption', table);
    if (!table.tHead || [...table.tHead.rows[0].cells].some((c) => c.tagName !== 'TH' || c.scope !== 'col')) say('a column without a heading', table);
  }
  for (const img of document.querySelectorAll('img')) if (!img.alt) say('a picture without words', img);
  for (const svg of document.querySelectorAll('svg')) {
    const named = svg.getAttribute('aria-label') || (svg.getAttribute('aria-labelledby') || '').split(/\s+/)
      .map((id) => (document.getElementById(id) || {}).textContent || '').join('');
    if (svg.getAttribute('role') !== 'img' || named.trim().length < 10) say('a figure without words', svg);
  }
  for (const node of document.querySelectorAll('[tabindex]')) if (node.tabIndex > 0) say('an order of its own for the keyboard', node);
  if (document.documentElement.scrollWidth > window.innerWidth) {
    for (const node of document.querySelectorAll('main *')) {
      const inner = node.closest('.table,pre');
      if (shown(node) && node.getBoundingClientRect().right > window.innerWidth + 1 && (!inner || inner === node)) say('wider than the screen', node);
    }
    wrong.push(`scrolls sideways: ${document.documentElement.scrollWidth} of ${window.innerWidth}`);
  }

  // Contrast of text to what stands behind it (WCAG 2.2, 2023, "contrast ratio", success criterion 1.4.3: 4.5, large text 3).
  const parts = (colour) => { const [r, g, b, a = 1] = colour.match(/[\d.]+/g).map(Number); return { r, g, b, a }; };
  const over = (top, under) => ({ r: top.a * top.r + (1 - top.a) * under.r, g: top.a * top.g + (1 - top.a) * under.g, b: top.a * top.b + (1 - top.a) * under.b, a: 1 });
  const linear = (v) => (v /= 255) <= 0.04045 ? v / 12.92 : ((v + 0.055) / 1.055) ** 2.4;
  const light = ({ r, g, b }) => 0.2126 * linear(r) + 0.7152 * linear(g) + 0.0722 * linear(b) + 0.05;
  const behind = (node) => {
    const layers = [];
    for (let n = node; n; n = n.parentElement) layers.push(parts(getComputedStyle(n).backgroundColor));
    return layers.reduceRight((under, top) => over(top, under), { r: 255, g: 255, b: 255, a: 1 });
  };
  let looked = 0, least = 99;
  const walker = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
  for (let text = walker.nextNode(); text; text = walker.nextNode()) {
    const node = text.parentElement;
    if (!text.textContent.trim() || ['SCRIPT', 'STYLE', 'OPTION'].includes(node.tagName) || ['title', 'desc'].includes(node.tagName) || !shown(node)) continue;
    const style = getComputedStyle(node), svg = node.closest('svg');
    const ground = behind(svg ? svg.parentElement : node);
    const found = (() => { const [a, b] = [light(over(parts(svg ? style.fill : style.color), ground)), light(ground)]; return Math.max(a, b) / Math.min(a, b); })();
    const size = parseFloat(style.fontSize), large = size >= 24 || (size >= 18.66 && Number(style.fontWeight) >= 700);
    looked++;
    least = Math.min(least, found);
    if (found < (large ? 3 : 4.5)) say(`contrast ${found.toFixed(2)}`, node);
  }
  return { wrong, looked, least };
})()
