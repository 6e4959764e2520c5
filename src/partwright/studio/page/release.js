// Release: an edition is what goes out, frozen. Stands here once the server offers it.

export function releaseContent() {
  return null;
}
