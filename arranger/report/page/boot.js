// Unpacks what the page carries: base64 of raw deflate, of which browsers know the reverse. The
// program is run as a script of the page, which its policy allows by hash.

globalThis.unpacked = (id) => {
  const text = atob(document.getElementById(id).textContent);
  const bytes = new Uint8Array(text.length);
  for (let at = 0; at < text.length; at += 1) bytes[at] = text.charCodeAt(at);
  const stream = new Blob([bytes]).stream().pipeThrough(new DecompressionStream("deflate-raw"));
  return new Response(stream);
};

const run = async () => {
  const program = document.createElement("script");
  program.textContent = await globalThis.unpacked("program").text();
  document.body.append(program);
};

if ("DecompressionStream" in globalThis) run();
else document.getElementById("too-old").hidden = false;
