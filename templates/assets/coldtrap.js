// Small comforts. Every page works without this file.
"use strict";

// What was refused is read and seen first.
const errors = document.getElementById("errors");
if (errors) {
  errors.focus();
}

// "/" goes to the search box, unless somebody is typing.
document.addEventListener("keydown", (event) => {
  const box = document.querySelector("[data-search]");
  const typing = event.target.closest("input, textarea, select, [contenteditable]");
  if (event.key === "/" && box && !typing && !event.ctrlKey && !event.metaKey && !event.altKey) {
    event.preventDefault();
    box.focus();
    box.select();
  }
});

// Addresses stay short enough to pass on: questions left open are not sent with forms that only ask.
for (const form of document.querySelectorAll('form[method="get"]')) {
  form.addEventListener("formdata", (event) => {
    const empty = [...event.formData].filter(([, value]) => value === "").map(([name]) => name);
    for (const name of empty) {
      event.formData.delete(name);
    }
  });
}

// A report is not lost by a stray tap on a link.
const report = document.querySelector('form.report[method="post"]');
if (report) {
  let changed = errors !== null;
  report.addEventListener("input", () => { changed = true; });
  report.addEventListener("submit", () => { changed = false; });
  window.addEventListener("beforeunload", (event) => {
    if (changed) {
      event.preventDefault();
    }
  });
}

// On a narrow screen the navigation is a strip: show the part with the current entry.
const here = document.querySelector(".nav [aria-current]");
if (here) {
  const strip = here.closest(".nav");
  strip.scrollLeft = here.offsetLeft + here.offsetWidth / 2 - strip.clientWidth / 2;
}
