"use strict";
(() => {
  const filter = document.getElementById("filter");
  const words = document.getElementById("words");
  const shown = document.getElementById("shown");
  const boxes = [...filter.querySelectorAll("input[type=checkbox]")];
  const subjects = [...document.querySelectorAll(".subject")].map((element) => {
    const heading = element.querySelector("h3");
    return {
      element, heading, name: heading.textContent.toLowerCase(),
      rows: [...element.querySelectorAll("tbody tr")].map((row) => ({
        row, verdict: row.className, text: row.textContent.toLowerCase(),
      })),
    };
  });
  const total = subjects.reduce((sum, subject) => sum + subject.rows.length, 0);

  function apply() {
    const wanted = words.value.trim().toLowerCase().split(/\s+/).filter(Boolean);
    const verdicts = new Set(boxes.filter((box) => box.checked).map((box) => box.value));
    let count = 0;
    for (const subject of subjects) {
      let any = false;
      for (const { row, verdict, text } of subject.rows) {
        const on = verdicts.has(verdict)
          && wanted.every((word) => text.includes(word) || subject.name.includes(word));
        row.classList.toggle("off", !on);
        any ||= on;
        count += on;
      }
      subject.element.classList.toggle("off", !any);
    }
    shown.textContent = `${count} of ${total} findings`;
  }

  function fold(subject, folded) {
    subject.element.classList.toggle("folded", folded);
    subject.button.setAttribute("aria-expanded", String(!folded));
    subject.button.textContent = folded ? "+" : "-";
  }

  subjects.forEach((subject, index) => {
    const body = subject.element.querySelector(".body");
    body.id = `body-${index}`;
    subject.button = document.createElement("button");
    subject.button.type = "button";
    subject.button.className = "turn";
    subject.button.setAttribute("aria-label", `Details: ${subject.heading.textContent.trim()}`);
    subject.button.setAttribute("aria-controls", body.id);
    subject.heading.prepend(subject.button);
    subject.button.addEventListener("click", () =>
      fold(subject, !subject.element.classList.contains("folded")));
    fold(subject, false);
  });
  document.getElementById("fold").addEventListener("click", () => {
    for (const subject of subjects) fold(subject, subject.element.dataset.verdict === "pass");
  });
  document.getElementById("unfold").addEventListener("click", () => {
    for (const subject of subjects) fold(subject, false);
  });
  filter.addEventListener("submit", (event) => event.preventDefault());
  filter.addEventListener("input", apply);
  filter.hidden = false;
  apply();
})();
