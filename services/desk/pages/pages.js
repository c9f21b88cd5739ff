// What a page does besides, where scripts are on: it follows a quote, shows why a figure is what it is beside it, and takes a dropped file.
"use strict";

async function followed(place) {
  for (let pause = 300; place.isConnected; pause = Math.min(pause * 1.3, 3000)) {
    await new Promise((go) => setTimeout(go, pause));
    let page;
    try {
      const answer = await fetch(location.href, { headers: { Accept: "text/html" } });
      page = new DOMParser().parseFromString(await answer.text(), "text/html");
      if (answer.status >= 500) continue;
    } catch {
      continue; // nobody answers just now; it is asked again
    }
    const now = page.querySelector("[data-follow]");
    if (!now) {
      location.reload();
      return;
    }
    for (const part of ["[role=status]", ".stages"]) {
      const old = place.querySelector(part), next = now.querySelector(part);
      if (old.innerHTML !== next.innerHTML) old.innerHTML = next.innerHTML;
    }
  }
}

function explained() {
  const box = document.getElementById("answer");
  if (!box) return;
  let asked = null;
  const close = () => {
    box.replaceChildren();
    if (asked) asked.focus();
  };
  document.addEventListener("click", async (event) => {
    const link = event.target.closest("a.why");
    if (!link || event.ctrlKey || event.metaKey || event.shiftKey || event.button) return;
    event.preventDefault();
    if (!box.contains(link)) asked = link;
    try {
      const answer = await fetch(link.href, { headers: { Accept: "text/html" } });
      const page = new DOMParser().parseFromString(await answer.text(), "text/html");
      const article = page.querySelector("article, main");
      const button = document.createElement("button");
      button.type = "button";
      button.className = "quiet";
      button.textContent = "Close";
      button.addEventListener("click", close);
      const title = article.querySelector("h1");
      if (title) {
        const smaller = document.createElement("h2");
        smaller.append(...title.childNodes);
        title.replaceWith(smaller);
      }
      box.replaceChildren(button, article.tagName === "MAIN" ? document.createRange().createContextualFragment(article.innerHTML) : article);
      button.focus();
    } catch {
      location.href = link.href;
    }
  });
  document.addEventListener("keydown", (event) => {
    if (event.key === "Escape" && box.firstChild) close();
  });
}

function dropped(form) {
  const input = form.querySelector("input[type=file]");
  for (const kind of ["dragenter", "dragover"]) {
    form.addEventListener(kind, (event) => {
      event.preventDefault();
      form.classList.add("dropping");
    });
  }
  form.addEventListener("dragleave", () => form.classList.remove("dropping"));
  form.addEventListener("drop", (event) => {
    event.preventDefault();
    form.classList.remove("dropping");
    if (event.dataTransfer.files.length) input.files = event.dataTransfer.files;
    else form.querySelector("textarea").value = event.dataTransfer.getData("text/plain");
  });
}

document.querySelectorAll("[data-follow]").forEach(followed);
document.querySelectorAll("[data-drop]").forEach(dropped);
explained();
