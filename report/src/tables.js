// Tables that sort by a click on a head and filter by words.

const FILTERED_FROM = 8;

export function begin() {
  for (const box of document.querySelectorAll('.table')) {
    const table = box.querySelector('table');
    const body = table.tBodies[0];
    const rows = [...body.rows];
    if (rows.length < 2) continue;
    [...table.tHead.rows[0].cells].forEach((head, index) => sorts(table, body, rows, head, index));
    if (rows.length >= FILTERED_FROM) filters(box, table, rows);
  }
}

function sorts(table, body, rows, head, index) {
  // A button element would keep browsers from repeating the head on each printed page.
  const button = document.createElement('span');
  button.setAttribute('role', 'button');
  button.tabIndex = 0;
  button.append(...head.childNodes);
  head.append(button);
  button.addEventListener('keydown', (event) => {
    if (event.key !== 'Enter' && event.key !== ' ') return;
    event.preventDefault();
    button.click();
  });
  button.addEventListener('click', () => {
    const down = head.getAttribute('aria-sort') === 'ascending';
    for (const other of table.tHead.rows[0].cells) other.removeAttribute('aria-sort');
    head.setAttribute('aria-sort', down ? 'descending' : 'ascending');
    const number = head.classList.contains('n');
    const order = (a, b) => {
      const [x, y] = [a.cells[index].textContent, b.cells[index].textContent];
      // What is empty stays at the end, whichever way.
      if (!x || !y) return (x ? 0 : 1) - (y ? 0 : 1);
      const way = number ? parseFloat(x) - parseFloat(y) : x.localeCompare(y, 'en', { numeric: true });
      return down ? -way : way;
    };
    body.append(...[...rows].sort(order));
  });
}

function filters(box, table, rows) {
  const label = document.createElement('label');
  const field = document.createElement('input');
  const count = document.createElement('span');
  field.type = 'search';
  count.setAttribute('role', 'status');
  label.className = 'filter';
  label.append('Rows with ', field, count);
  box.prepend(label);
  const texts = rows.map((row) => row.textContent.toLowerCase());
  field.addEventListener('input', () => {
    const words = field.value.toLowerCase().split(/\s+/).filter(Boolean);
    let shown = 0;
    rows.forEach((row, i) => {
      row.hidden = !words.every((word) => texts[i].includes(word));
      shown += row.hidden ? 0 : 1;
    });
    count.textContent = words.length ? ` ${shown} of ${rows.length}` : '';
  });
}
