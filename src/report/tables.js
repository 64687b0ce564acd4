// Tables that sort by a column and copy as tab-separated text.

function startTables() {
  const collator = new Intl.Collator(document.documentElement.lang, { numeric: true });
  const plain = (cell) => cell.textContent.trim();
  const value = (cell) => parseFloat(plain(cell).replace('−', '-'));

  function sort(table, column, direction) {
    const body = table.tBodies[0], rows = [...body.rows];
    const filled = rows.filter((r) => plain(r.cells[column]) !== '–');
    const numbers = filled.every((r) => isFinite(value(r.cells[column])));
    const order = (a, b) => {
      const [p, q] = [a.cells[column], b.cells[column]];
      const gone = (plain(p) === '–') - (plain(q) === '–');
      // What has no figure stands last either way.
      if (gone) return gone;
      const by = numbers ? value(p) - value(q) || 0 : collator.compare(plain(p), plain(q));
      return direction * by || a.dataset.place - b.dataset.place;
    };
    rows.sort(direction ? order : (a, b) => a.dataset.place - b.dataset.place);
    body.append(...rows);
  }

  async function copy(table, said) {
    const lines = [...table.rows].map((r) => [...r.cells].map((c) => plain(c).replace(/\s+/g, ' ').replace('−', '-')).join('\t'));
    const text = lines.join('\n') + '\n';
    try {
      await navigator.clipboard.writeText(text);
      said.textContent = 'Copied.';
    } catch (refused) {
      const area = Object.assign(document.createElement('textarea'), { value: text, readOnly: true });
      document.body.append(area);
      area.select();
      said.textContent = document.execCommand('copy') ? 'Copied.' : 'This browser does not let the page copy.';
      area.remove();
    }
    setTimeout(() => { said.textContent = ''; }, 4000);
  }

  for (const table of document.querySelectorAll('.table table')) {
    [...table.tBodies[0].rows].forEach((row, i) => { row.dataset.place = i; });
    const heads = [...table.tHead.rows[0].cells];
    heads.forEach((head, column) => {
      const button = document.createElement('button');
      button.type = 'button';
      button.className = 'sort';
      button.title = 'Sort by this column';
      button.append(...head.childNodes);
      head.append(button);
      head.setAttribute('aria-sort', 'none');
      button.addEventListener('click', () => {
        const next = { none: 'ascending', ascending: 'descending', descending: 'none' }[head.getAttribute('aria-sort')];
        for (const h of heads) h.setAttribute('aria-sort', 'none');
        head.setAttribute('aria-sort', next);
        sort(table, column, { none: 0, ascending: 1, descending: -1 }[next]);
      });
    });
    const bar = document.createElement('p'), button = document.createElement('button'), said = document.createElement('span');
    bar.className = 'table-copy';
    button.type = 'button';
    button.textContent = 'Copy table';
    const caption = table.caption && plain(table.caption);
    if (caption) button.setAttribute('aria-label', 'Copy table: ' + caption);
    said.setAttribute('role', 'status');
    button.addEventListener('click', () => copy(table, said));
    bar.append(button, ' ', said);
    const box = table.closest('.table'), note = box.nextElementSibling;
    (note && note.matches('.table-note') ? note : box).after(bar);
  }
}
