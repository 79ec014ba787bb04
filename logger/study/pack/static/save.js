// Pictures to take away: SVG as it is seen, PNG at twice the size; both carry their words for those who do not see them.
"use strict";
(() => {
  const B = window.boatrun;
  const crcTable = Array.from({ length: 256 }, (_, n) => { let c = n; for (let k = 0; k < 8; k += 1) c = c & 1 ? 0xedb88320 ^ (c >>> 1) : c >>> 1; return c >>> 0; });
  const crc = (bytes) => { let c = 0xffffffff; for (const b of bytes) c = crcTable[(c ^ b) & 255] ^ (c >>> 8); return (c ^ 0xffffffff) >>> 0; };

  // a PNG with an iTXt chunk "Description" behind its header (PNG, third edition, 11.3.3)
  function described(png, words) {
    const body = new TextEncoder().encode(`iTXtDescription\0\0\0\0\0${words}`);
    const chunk = new Uint8Array(body.length + 8), view = new DataView(chunk.buffer);
    view.setUint32(0, body.length - 4); chunk.set(body, 4); view.setUint32(body.length + 4, crc(body));
    return new Blob([png.slice(0, 33), chunk, png.slice(33)], { type: "image/png" });
  }

  function standing(svg, words) {
    const copy = svg.cloneNode(true), width = Number(svg.getAttribute("width")), height = Number(svg.getAttribute("height"));
    copy.setAttribute("xmlns", "http://www.w3.org/2000/svg");
    copy.setAttribute("role", "img");
    copy.querySelectorAll("title, desc, .reach").forEach((one) => one.remove());
    copy.querySelectorAll("[tabindex]").forEach((one) => { one.removeAttribute("tabindex"); one.removeAttribute("role"); });
    const say = (name, text) => { const made = B.el(name); made.textContent = text; return made; };
    const rules = [...document.styleSheets].flatMap((sheet) => [...sheet.cssRules]).filter((rule) => rule.selectorText && rule.selectorText.startsWith("svg")).map((rule) => rule.cssText).join("\n");
    copy.prepend(say("title", document.querySelector("h1").textContent), say("desc", words), say("style", rules), B.el("rect", { width, height, fill: "#fff" }));
    return { text: new XMLSerializer().serializeToString(copy), width, height };
  }

  function give(blob, name) {
    const link = document.createElement("a");
    link.href = URL.createObjectURL(blob); link.download = name;
    document.body.append(link); link.click(); link.remove();
    setTimeout(() => URL.revokeObjectURL(link.href), 10000);
  }

  for (const button of document.querySelectorAll("[data-save]")) button.addEventListener("click", () => {
    const svg = document.getElementById(button.dataset.save), words = svg.querySelector("desc").textContent;
    const picture = standing(svg, words), blob = new Blob([picture.text], { type: "image/svg+xml" });
    const name = `${(B.data.run || { id: "class" }).id}-${button.dataset.save}`;
    if (button.dataset.as === "svg") { give(blob, `${name}.svg`); return; }
    const image = new Image(), address = URL.createObjectURL(blob);
    image.onload = () => {
      const canvas = document.createElement("canvas");
      canvas.width = 2 * picture.width; canvas.height = 2 * picture.height;
      canvas.getContext("2d").drawImage(image, 0, 0, canvas.width, canvas.height);
      URL.revokeObjectURL(address);
      canvas.toBlob(async (png) => give(described(new Uint8Array(await png.arrayBuffer()), words), `${name}.png`), "image/png");
    };
    image.src = address;
  });
})();
