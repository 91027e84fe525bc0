"use strict";
(() => {
  const data = JSON.parse(document.getElementById("cells").textContent);
  const { fates, sheets, texts } = data;
  const byId = (id) => document.getElementById(id);
  const [view, grid, detail, chooser] = ["view", "grid", "detail", "sheets"].map(byId);
  const HEIGHT = 26, NUMBERS = 64, CHARACTER = 7.6, SPARE = 8, HIDDEN = 44;
  const [COLUMN, SHOWN, FATE, STRUCK, HEADING, REASON, READS] = [0, 1, 2, 3, 4, 5, 6];
  const NOT_READ = fates.findIndex(([fate]) => fate === "not-read");
  let sheet, at = { row: 0, column: 0 }, drawn = "";

  const letters = (n) => (n > 26 ? letters(Math.floor((n - 1) / 26)) : "") + String.fromCharCode(65 + (n - 1) % 26);
  const make = (kind, name, text) => {
    const made = document.createElement(kind);
    if (name) made.className = name;
    if (text !== undefined) made.textContent = text;
    return made;
  };

  for (const one of sheets) {
    one.hiddenColumns = new Set(one.hiddenColumns);
    one.hiddenRows = new Set(one.hiddenRows);
    one.byRow = new Map(one.rows);
    one.last = one.rows.length ? one.rows[one.rows.length - 1][0] : 1;
    one.lefts = [NUMBERS];
    one.widths.forEach((width, n) => {
      const wide = Math.max(one.hiddenColumns.has(n + 1) ? HIDDEN : 0, Math.round(width * CHARACTER) + 10);
      one.lefts.push(one.lefts[n] + wide);
    });
    one.blocks = one.blocks.map(([top, left, bottom, right]) => ({ top, left, bottom, right }));
    one.blockAt = new Map(one.blocks.map((b) => [`${b.top} ${b.left}`, b]));
    one.unread = [];
    for (const [row, cells] of one.rows)
      for (const cell of cells) if (cell[FATE] === NOT_READ) one.unread.push([row, cell[COLUMN]]);
    const count = one.unread.length ? `, ${one.unread.length} not read` : "";
    chooser.append(make("option", "", `${one.name}${one.hidden ? " (hidden)" : ""}${count}`));
  }

  const cellAt = (row, column) => (sheet.byRow.get(row) || []).find((cell) => cell[COLUMN] === column);

  function choose(number) {
    sheet = sheets[number];
    chooser.selectedIndex = number;
    const wide = sheet.lefts[sheet.lefts.length - 1];
    grid.style.width = `${wide}px`;
    grid.style.height = `${(sheet.last + 1) * HEIGHT}px`;
    grid.setAttribute("aria-rowcount", sheet.last + 1);
    grid.setAttribute("aria-colcount", sheet.widths.length + 1);
    view.scrollTo(0, 0);
    const first = sheet.rows[0];
    at = first ? { row: first[0], column: first[1][0][COLUMN] } : { row: 0, column: 0 };
    drawn = "";
    draw();
  }

  function range() {
    const first = Math.max(1, Math.floor(view.scrollTop / HEIGHT) - SPARE);
    const last = Math.min(sheet.last, Math.ceil((view.scrollTop + view.clientHeight) / HEIGHT) + SPARE);
    const right = view.scrollLeft + view.clientWidth;
    let left = 0, end = 0;
    for (let n = 0; n < sheet.widths.length; n += 1) {
      if (sheet.lefts[n + 1] <= view.scrollLeft) left = n;
      if (sheet.lefts[n] < right) end = n;
    }
    return [first, last, Math.max(1, left), Math.min(sheet.widths.length, end + 3)];
  }

  function drawCell(row, cell) {
    const [fate, sign] = fates[cell[FATE]];
    const column = cell[COLUMN];
    const block = sheet.blockAt.get(`${row} ${column}`);
    const made = make("div", `cell f-${fate}${cell[STRUCK] ? " struck" : ""}${block ? " block" : ""}`);
    const right = block ? Math.min(block.right, sheet.widths.length) : column;
    made.style.left = `${sheet.lefts[column - 1]}px`;
    made.style.width = `${sheet.lefts[right] - sheet.lefts[column - 1]}px`;
    if (block) made.style.height = `${(block.bottom - block.top + 1) * HEIGHT}px`;
    made.setAttribute("role", "gridcell");
    made.setAttribute("aria-colindex", column + 1);
    made.setAttribute("aria-describedby", "detail");
    made.tabIndex = row === at.row && column === at.column ? 0 : -1;
    made.dataset.row = row;
    made.dataset.column = column;
    const mark = make("b", "sign", sign);
    mark.setAttribute("aria-hidden", "true");
    made.append(mark, texts[cell[SHOWN]]);
    return made;
  }

  function drawRow(row, left, right) {
    const line = make("div");
    line.setAttribute("role", "row");
    line.setAttribute("aria-rowindex", row + 1);
    line.style.top = `${row * HEIGHT}px`;
    line.style.width = `${sheet.lefts[sheet.lefts.length - 1]}px`;
    const hidden = sheet.hiddenRows.has(row);
    const number = make("div", `number${hidden ? " hid" : ""}`, hidden ? `hidden ${row}` : row);
    number.setAttribute("role", "rowheader");
    line.append(number);
    for (const cell of sheet.byRow.get(row) || []) {
      const block = sheet.blockAt.get(`${row} ${cell[COLUMN]}`);
      if ((block ? block.right : cell[COLUMN]) >= left && cell[COLUMN] <= right) line.append(drawCell(row, cell));
    }
    return line;
  }

  function drawLetters(left, right) {
    const line = make("div", "letters");
    line.setAttribute("role", "row");
    line.setAttribute("aria-rowindex", 1);
    line.style.height = `${HEIGHT}px`;
    const corner = make("div", "number");
    corner.setAttribute("role", "columnheader");
    corner.setAttribute("aria-label", "Row");
    line.append(corner);
    for (let n = left; n <= right; n += 1) {
      const hidden = sheet.hiddenColumns.has(n);
      const head = make("div", `letter${hidden ? " hid" : ""}`, letters(n) + (hidden ? " hidden" : ""));
      head.setAttribute("role", "columnheader");
      head.setAttribute("aria-colindex", n + 1);
      head.style.left = `${sheet.lefts[n - 1]}px`;
      head.style.width = `${sheet.lefts[n] - sheet.lefts[n - 1]}px`;
      line.append(head);
    }
    return line;
  }

  function draw() {
    const [first, last, left, right] = range();
    const key = `${first} ${last} ${left} ${right}`;
    if (key === drawn) return;
    drawn = key;
    const focused = grid.contains(document.activeElement);
    const lines = [drawLetters(left, right)];
    for (const block of sheet.blocks) // one that begins above what is to be seen
      if (block.top < first && block.bottom >= first && sheet.byRow.has(block.top)) lines.push(drawRow(block.top, left, right));
    for (let row = first; row <= last; row += 1) lines.push(drawRow(row, left, right));
    grid.replaceChildren(...lines);
    if (focused) find(at.row, at.column)?.focus({ preventScroll: true });
  }

  const find = (row, column) => grid.querySelector(`[data-row="${row}"][data-column="${column}"]`);

  function tell(row, column) {
    const cell = cellAt(row, column);
    if (!cell) return;
    const [, sign, name] = fates[cell[FATE]];
    const heading = texts[cell[HEADING]] ? ` (${texts[cell[HEADING]]})` : "";
    const reason = texts[cell[REASON]];
    const head = make("p");
    head.append(make("strong", "", `${letters(column)}${row}`), `${heading}: `, make("bdi", "", texts[cell[SHOWN]]));
    const fate = make("p");
    fate.append(make("strong", "", `${sign} ${name}`), reason ? `: ${reason}` : "");
    detail.replaceChildren(head, fate);
    if (!cell[READS].length) return;
    const list = make("ul");
    for (const [field, subject, value, unit, how] of cell[READS].map((read) => read.map((n) => texts[n]))) {
      const item = make("li");
      item.append(make("strong", "", `${value}${unit ? ` ${unit}` : ""}`), ` is ${field} of ${subject}`, how ? `: ${how}` : "");
      list.append(item);
    }
    detail.append(list);
  }

  function show(row, column) {
    const before = find(at.row, at.column);
    if (before) before.tabIndex = -1;
    at = { row, column };
    const top = row * HEIGHT, left = sheet.lefts[column - 1], right = sheet.lefts[column];
    if (top < view.scrollTop + HEIGHT || top + 2 * HEIGHT > view.scrollTop + view.clientHeight)
      view.scrollTop = Math.max(0, top - view.clientHeight / 2);
    if (left < view.scrollLeft + NUMBERS || right > view.scrollLeft + view.clientWidth)
      view.scrollLeft = Math.max(0, left - NUMBERS - 40);
    draw();
    const here = find(row, column);
    if (here) {
      here.tabIndex = 0;
      here.focus({ preventScroll: true });
    }
    tell(row, column);
  }

  function step(key) {
    const cells = sheet.byRow.get(at.row) || [];
    const columns = cells.map((cell) => cell[COLUMN]);
    if (key === "ArrowRight") return [at.row, columns.find((n) => n > at.column)];
    if (key === "ArrowLeft") return [at.row, columns.filter((n) => n < at.column).pop()];
    if (key === "Home") return [at.row, columns[0]];
    if (key === "End") return [at.row, columns[columns.length - 1]];
    const down = key === "ArrowDown" ? 1 : key === "ArrowUp" ? -1 : 0;
    for (let row = at.row + down; down && row >= 1 && row <= sheet.last; row += down) {
      const there = (sheet.byRow.get(row) || []).map((cell) => cell[COLUMN]);
      if (there.length) return [row, there.reduce((a, b) => (Math.abs(b - at.column) < Math.abs(a - at.column) ? b : a))];
    }
    return [];
  }

  function jump(forward) {
    const number = chooser.selectedIndex;
    const order = forward ? 1 : -1;
    const beyond = ([row, column]) => order * ((row - at.row) || (column - at.column)) > 0;
    const here = forward ? sheet.unread.find(beyond) : sheet.unread.filter(beyond).pop();
    if (here) return show(...here);
    for (let n = 1; n <= sheets.length; n += 1) {
      const other = (number + order * n + sheets.length * n) % sheets.length;
      const { unread } = sheets[other];
      if (!unread.length) continue;
      choose(other);
      return show(...(forward ? unread[0] : unread[unread.length - 1]));
    }
    return undefined;
  }

  let pointer = "";
  grid.addEventListener("pointermove", (event) => {
    const cell = event.target.closest(".cell");
    const moved = `${event.clientX} ${event.clientY}`;
    if (moved === pointer) return; // the cells moved, not the pointer
    pointer = moved;
    if (cell) tell(Number(cell.dataset.row), Number(cell.dataset.column));
  });
  grid.addEventListener("focusin", (event) => {
    const cell = event.target.closest(".cell");
    if (!cell) return;
    at = { row: Number(cell.dataset.row), column: Number(cell.dataset.column) };
    tell(at.row, at.column);
  });
  grid.addEventListener("keydown", (event) => {
    if (event.ctrlKey || event.altKey || event.metaKey) return;
    const [row, column] = step(event.key);
    if (!row || !column) return;
    event.preventDefault();
    show(row, column);
  });
  view.addEventListener("scroll", () => requestAnimationFrame(draw), { passive: true });
  addEventListener("resize", () => { drawn = ""; draw(); });
  chooser.addEventListener("change", () => choose(chooser.selectedIndex));
  byId("next").addEventListener("click", () => jump(true));
  byId("previous").addEventListener("click", () => jump(false));
  const open = sheets.some((one) => one.unread.length);
  byId("next").disabled = byId("previous").disabled = !open;
  if (!open) byId("hint").textContent = `Every cell is accounted for. ${byId("hint").textContent}`;
  choose(0);
})();
